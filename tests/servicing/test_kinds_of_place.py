"""Kinds of place that teach lessons of their own, and what the rest begin from."""

import datetime as dt

import pytest
from django.urls import reverse

from servicing.forecasts import learn_fleet_of, refresh_forecast, refresh_forecasts
from servicing.forecasts.strata import strata_of
from servicing.models import Dip, FleetLearning, Forecast, StratumLearning, System, Visit
from tests.make import make_organisation, make_system, make_user

pytestmark = pytest.mark.django_db

TODAY = dt.date(2027, 1, 4)
EMPTIED, DIPPED = dt.date(2024, 1, 1), dt.date(2026, 1, 1)
LET = {"persons": 4, "use": "holiday_let", "weeks_per_year": 26}
HOUSE = {"persons": 4}


def measured(organisation, count, litres, occupancy, **fields):
    """Systems emptied two years before they were dipped, all found alike (invented)."""
    for _ in range(count):
        system = make_system(organisation, last_emptied_on=EMPTIED, occupancy=occupancy, **fields)
        visit = Visit.objects.create(
            organisation=organisation, system=system, visited_on=DIPPED, lid_back_on=True
        )
        Dip.objects.create(visit=visit, tank=system.tanks.first(), litres=litres)


def valley(lets=30, houses=30):
    organisation = make_organisation(
        interval_override_months=240, interval_override_reason="Dipped every year."
    )
    measured(organisation, houses, 700, HOUSE)
    measured(organisation, lets, 300, LET)
    return organisation


def test_a_kind_of_place_with_thirty_measured_systems_teaches_apart_from_the_firm():
    organisation = valley()
    firm = learn_fleet_of(organisation, today=TODAY)
    own = {row.stratum: row for row in StratumLearning.objects.all()}
    assert set(own) == {"house", "part_year"}
    assert own["part_year"].systems == 30
    assert own["part_year"].median_rate < firm.median_rate < own["house"].median_rate


def test_with_twenty_nine_it_begins_from_the_firm_and_without_any_from_the_book():
    organisation = valley(lets=29, houses=0)
    let = make_system(organisation, last_emptied_on=EMPTIED, occupancy=LET)
    assert refresh_forecast(let, today=TODAY).rate_p50 == pytest.approx(85, rel=0.02)
    firm = learn_fleet_of(organisation, today=TODAY)
    assert not StratumLearning.objects.exists()
    assert refresh_forecast(let, today=TODAY).rate_p50 == pytest.approx(firm.median_rate, rel=0.02)


def test_a_let_nobody_measured_is_forecast_like_the_lets_and_says_so():
    organisation = valley()
    learn_fleet_of(organisation, today=TODAY)
    for occupancy, stratum in ((LET, "part_year"), (HOUSE, "house")):
        system = make_system(organisation, last_emptied_on=EMPTIED, occupancy=occupancy)
        found = refresh_forecast(system, today=TODAY)
        own = StratumLearning.objects.get(stratum=stratum)
        assert found.rate_p50 == pytest.approx(own.median_rate, rel=0.02)
        assert own.get_stratum_display().lower() in " ".join(found.assumptions)


def test_a_forecast_is_worked_out_anew_only_when_the_lesson_it_uses_changed():
    organisation = valley()
    learn_fleet_of(organisation, today=TODAY)
    systems = System.objects.filter(organisation=organisation)
    refresh_forecasts(systems, today=TODAY)
    StratumLearning.objects.filter(stratum="part_year").update(median_rate=20)
    FleetLearning.objects.update(median_rate=300, systems=9_000)
    StratumLearning.objects.filter(stratum="house").update(systems=500, dips=900)
    assert refresh_forecasts(systems, today=TODAY) == 30
    assert set(Forecast.objects.filter(rate_p50__lt=60).values_list("system", flat=True)) == {
        pk
        for pk, stratum in strata_of(list(systems.values_list("pk", flat=True))).items()
        if stratum == "part_year"
    }


def test_a_lesson_that_no_longer_holds_goes():
    organisation = valley()
    learn_fleet_of(organisation, today=TODAY)
    lets = System.objects.filter(occupancies__use="holiday_let")
    System.objects.filter(pk__in=lets).update(retired_on=TODAY)
    measured(organisation, 1, 600, HOUSE)
    learn_fleet_of(organisation, today=TODAY + dt.timedelta(days=8))
    assert list(StratumLearning.objects.values_list("stratum", flat=True)) == ["house"]


def test_the_manager_reads_which_kinds_teach_and_which_need_more(client):
    organisation = valley(lets=4)
    learn_fleet_of(organisation, today=TODAY)
    client.force_login(make_user(organisation))
    page = " ".join(client.get(reverse("servicing:learning")).content.decode().split())
    assert "its own lesson, from 30 measurements" in page
    assert "all your tanks; it needs 30 measured systems" in page
