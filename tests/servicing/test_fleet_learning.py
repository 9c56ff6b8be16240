"""What an organisation's own measurements teach, and what that does to its forecasts."""

import datetime as dt

import pytest
from django.urls import reverse

from servicing.forecasts import learn_fleet_of, refresh_forecast
from servicing.models import Chamber, ChamberFinding, Dip, FleetLearning, Visit
from tests.make import make_organisation, make_system, make_user

pytestmark = pytest.mark.django_db

TODAY = dt.date(2027, 1, 4)


def measured_fleet(litres, count=12, **fields):
    """Homes of four emptied two years before they were dipped; all found alike (invented)."""
    organisation = make_organisation(
        interval_override_months=120, interval_override_reason="Dipped every year.", **fields
    )
    for _ in range(count):
        system = make_system(
            organisation, last_emptied_on=dt.date(2024, 1, 1), occupancy={"persons": 4}
        )
        dip(system, dt.date(2026, 1, 1), litres)
    return organisation


def dip(system, day, litres):
    visit = Visit.objects.create(
        organisation=system.organisation, system=system, visited_on=day, lid_back_on=True
    )
    return Dip.objects.create(visit=visit, tank=system.tanks.first(), litres=litres)


def test_nothing_is_learned_from_nothing():
    organisation = make_organisation()
    make_system(organisation)
    assert learn_fleet_of(organisation, today=TODAY) is None
    assert not FleetLearning.objects.exists()


def test_a_fleet_found_emptier_than_the_book_says_is_expected_to_fill_more_slowly():
    # By Gray 1995 four people leave about 4 x 153 L in two years (85 x 2^0.85); half is found.
    learned = learn_fleet_of(measured_fleet(306 + 140), today=TODAY)
    assert 35 < learned.median_rate < 70
    assert (learned.systems, learned.dips) == (12, 12)


def test_what_was_learned_moves_the_forecast_of_a_tank_nobody_measured():
    organisation = measured_fleet(300)
    system = make_system(organisation, last_emptied_on=dt.date(2025, 1, 1))
    by_book = refresh_forecast(system, today=TODAY)
    learned = learn_fleet_of(organisation, today=TODAY)
    taught = refresh_forecast(system, today=TODAY)
    assert taught.due_on > by_book.due_on
    assert taught.rate_p50 == pytest.approx(learned.median_rate, rel=0.02)


def test_one_organisation_learns_nothing_from_another():
    measured_fleet(100)
    other = make_organisation()
    assert learn_fleet_of(other, today=TODAY) is None


def test_a_lesson_is_drawn_again_only_on_new_evidence_and_not_within_a_week():
    organisation = measured_fleet(300, count=3)
    first = learn_fleet_of(organisation, today=TODAY)
    dip(Dip.objects.first().visit.system, dt.date(2026, 12, 1), 900)
    assert learn_fleet_of(organisation, today=TODAY).learned_at == first.learned_at
    later = learn_fleet_of(organisation, today=TODAY + dt.timedelta(days=7))
    assert later.dips == first.dips + 1
    again = learn_fleet_of(organisation, today=TODAY + dt.timedelta(days=30))
    assert again.learned_at == later.learned_at


def test_an_estimate_by_eye_and_a_corrected_visit_teach_nothing():
    organisation = measured_fleet(300, count=2)
    first, second = Dip.objects.filter(visit__organisation=organisation)
    first.method = Dip.Method.ESTIMATE
    first.save(update_fields=["method"])
    second.visit.abandoned_because = Visit.Abandoned.DOG
    second.visit.save(update_fields=["abandoned_because"])
    assert learn_fleet_of(organisation, today=TODAY) is None


def test_chambers_found_blocked_bring_the_next_look_at_others_forward():
    organisation = make_organisation()
    dates: list[dt.date] = []
    for flow in ("free", "none"):
        for number in range(8):
            look_twice(organisation, f"{flow} {number}", flow)
        learn_fleet_of(organisation, today=TODAY + dt.timedelta(days=8 * len(dates)))
        new = make_system(organisation, installed_on=dt.date(2026, 3, 1))
        new.created_at = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
        new.save(update_fields=["created_at"])
        chamber = Chamber.objects.create(system=new, label="IC")
        refresh_forecast(new, today=TODAY)
        chamber.refresh_from_db()
        dates.append(chamber.inspect_due_on)
    assert dates[1] < dates[0]


def look_twice(organisation, label, flow):
    system = make_system(organisation, installed_on=dt.date(2024, 3, 1))
    chamber = Chamber.objects.create(system=system, label=label)
    for year in (2025, 2026):
        visit = Visit.objects.create(
            organisation=organisation,
            system=system,
            visited_on=dt.date(year, 5, 1),
            lid_back_on=True,
        )
        ChamberFinding.objects.create(visit=visit, chamber=chamber, flow=flow)


def test_the_page_says_it_in_plain_words_and_in_the_organisations_units(client):
    organisation = measured_fleet(300, units="imperial_gallons")
    learned = learn_fleet_of(organisation, today=TODAY)
    client.force_login(make_user(organisation))
    page = " ".join(client.get(reverse("servicing:learning")).content.decode().split())
    gallons = learned.median_rate / 4.54609  # exact by the Weights and Measures Act 1985
    assert f"fill at about {gallons:.0f} gal a person in the first year" in page
    assert "from 12 measurements of 12 systems" in page
    assert "less than the book&#x27;s 19 gal" in page  # 85 L are 18.7 gallons


def test_a_dearer_year_over_the_limit_calls_for_a_smaller_risk(client):
    organisation = measured_fleet(300, emptying_cost_pence=24_000)
    for system in {dip.visit.system for dip in Dip.objects.all()}:
        refresh_forecast(system, today=TODAY)
    client.force_login(make_user(organisation))
    called_for = []
    for pounds in (500, 2_000, 8_000):
        organisation.trouble_cost_pence = pounds * 100
        organisation.save(update_fields=["trouble_cost_pence"])
        called_for.append(client.get(reverse("servicing:learning")).context["risk"].called_for)
    assert called_for[0] > called_for[1] > called_for[2] > 0


def test_the_meaning_of_the_risk_and_the_risk_called_for_agree(client):
    # The same balance read both ways (risk_in_money): told its own meaning, the risk comes back.
    organisation = measured_fleet(300, emptying_cost_pence=24_000)
    for system in {dip.visit.system for dip in Dip.objects.all()}:
        refresh_forecast(system, today=TODAY)
    client.force_login(make_user(organisation))
    meaning = client.get(reverse("servicing:learning")).context["risk"]
    organisation.trouble_cost_pence = round(meaning.pence)
    organisation.save(update_fields=["trouble_cost_pence"])
    called_for = client.get(reverse("servicing:learning")).context["risk"].called_for
    assert called_for == pytest.approx(organisation.accepted_risk, rel=0.1)
