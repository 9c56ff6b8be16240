"""Past forecasts held against what crews found, as both were written down."""

import datetime as dt

import pytest
from django.urls import reverse

from servicing.forecasts import check_forecasts, refresh_forecast, refresh_forecasts
from servicing.models import CheckedForecast, Emptying, PastForecast, System, Visit
from tests.make import make_organisation, make_system, make_user
from tests.servicing.test_fleet_learning import dip

pytestmark = pytest.mark.django_db

SAID = dt.date(2026, 1, 5)
FOUND = dt.date(2026, 7, 6)


@pytest.fixture
def system():
    organisation = make_organisation(
        interval_override_months=120, interval_override_reason="Dipped every year."
    )
    made = make_system(organisation, last_emptied_on=dt.date(2025, 1, 1))
    refresh_forecast(made, today=SAID)
    return made


def check(system):
    return check_forecasts(system.organisation, today=FOUND)


def test_a_measurement_is_held_against_what_was_said_before_it(system):
    dip(system, FOUND, 500)
    assert check(system) == 1
    row = CheckedForecast.objects.get()
    assert (row.made_on, row.found_on, row.found) == (SAID, FOUND, 500)
    assert row.p10 < row.p50 < row.p90


def test_the_level_said_lies_on_the_curve_that_was_kept(system):
    # Straight lines between kept points, read off here anew.
    dip(system, FOUND, 500)
    check(system)
    points = [(dt.date.fromisoformat(p[0]), p[2]) for p in PastForecast.objects.get().levels]
    after = next(place for place, (day, _) in enumerate(points) if day > FOUND)
    (day0, low), (day1, high) = points[after - 1], points[after]
    expected = low + (high - low) * ((FOUND - day0) / (day1 - day0))
    assert CheckedForecast.objects.get().p50 == pytest.approx(expected, abs=0.1)


def test_checking_twice_changes_nothing(system):
    dip(system, FOUND, 500)
    check(system)
    assert check(system) == 0


def test_what_is_learned_afterwards_changes_no_record(system):
    dip(system, FOUND, 900)
    check(system)
    before = CheckedForecast.objects.values("p10", "p50", "p90", "found").get()
    dip(system, FOUND + dt.timedelta(days=100), 1200)
    refresh_forecast(system, today=FOUND + dt.timedelta(days=101))
    check_forecasts(system.organisation, today=FOUND + dt.timedelta(days=101))
    first = CheckedForecast.objects.filter(found_on=FOUND)
    assert first.values("p10", "p50", "p90", "found").get() == before


def test_a_corrected_visit_is_checked_anew(system):
    wrong = dip(system, FOUND, 5).visit
    check(system)
    right = dip(system, FOUND, 500).visit
    wrong.replaced_by = right
    wrong.save(update_fields=["replaced_by", "changed_at"])
    check(system)
    assert CheckedForecast.objects.get().found == 500


def test_a_forecast_of_another_filling_does_not_count(system):
    emptied = Visit.objects.create(
        organisation=system.organisation,
        system=system,
        visited_on=SAID + dt.timedelta(days=30),
        lid_back_on=True,
    )
    Emptying.objects.create(visit=emptied)
    dip(system, FOUND, 300)
    assert check(system) == 0


def test_of_many_forecasts_one_of_each_age_is_held_against_a_measurement(system):
    for months in range(1, 6):
        refresh_forecast(system, today=SAID + dt.timedelta(days=30 * months))
    dip(system, FOUND, 500)
    check(system)
    assert PastForecast.objects.count() > 3
    ages = [(FOUND - row.made_on).days for row in CheckedForecast.objects.all()]
    # Ranges of ages: up to 90 days, 90 to 365.
    assert sorted(age >= 90 for age in ages) == [False, True]
    assert CheckedForecast.objects.get(newest=True).made_on == max(
        PastForecast.objects.values_list("made_on", flat=True)
    )


def test_the_page_counts_what_held(client, system):
    others = [
        make_system(system.organisation, last_emptied_on=dt.date(2025, 1, 1)) for _ in range(3)
    ]
    refresh_forecasts(System.objects.all(), today=SAID)
    for one, litres in zip([system, *others], (470, 480, 490, 2500), strict=True):
        dip(one, FOUND, litres)
    check(system)
    client.force_login(make_user(system.organisation))
    whole = client.get(reverse("servicing:track_record")).context["figures"].whole
    assert (whole.forecasts, whole.held) == (4, 0.75)
    # Wilson 1927 for 3 of 4: 0.30 to 0.95.
    assert (round(whole.held_low, 2), round(whole.held_high, 2)) == (0.30, 0.95)


def test_the_page_of_a_new_organisation_says_what_will_come(client):
    client.force_login(make_user(make_organisation()))
    assert (
        "Nothing to compare yet" in client.get(reverse("servicing:track_record")).content.decode()
    )
