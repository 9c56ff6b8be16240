"""The organisation's own pages: settings, plans, agreements, choosing where to work."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from customers.models import AftercarePlan, Agreement, Membership
from tests.make import make_organisation, make_premises, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation():
    return make_organisation()


@pytest.fixture
def ines(organisation):
    return make_user(organisation)


@pytest.fixture
def office(client, ines):
    client.force_login(ines)
    return client


def settings_of(organisation, **fields):
    return {
        "name": organisation.name,
        "profile": organisation.profile_id,
        "time_zone": "Europe/London",
        "units": "litres",
        "language": "en-gb",
        "accepted_risk": "10",
        "horizon_days": "90",
        "dates_by": "risk",
        "tip_tolerance_percent": "10",
        "stick_notch_mm": "100",
        **fields,
    }


def test_settings_are_saved_in_the_units_of_the_database(office, organisation):
    fields = settings_of(organisation, accepted_risk="5", units="imperial_gallons")
    office.post(reverse("customers:organisation_edit"), fields)
    organisation.refresh_from_db()
    assert organisation.accepted_risk == pytest.approx(0.05)
    assert organisation.units == "imperial_gallons"


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"time_zone": "Mars/Olympus"}, "This is not a time zone"),
        ({"accepted_risk": "80"}, "less than or equal to 50"),
        ({"carrier_valid_from": "2027-01-01", "carrier_valid_to": "2026-01-01"}, "ends before"),
        ({"interval_override_months": "36"}, "Say why"),
        ({"horizon_days": "2"}, "greater than or equal to 7"),
    ],
)
def test_settings_that_cannot_be_are_refused(office, organisation, fields, says):
    page = office.post(
        reverse("customers:organisation_edit"), settings_of(organisation, phone="0000 1", **fields)
    ).content.decode()
    assert says in page
    organisation.refresh_from_db()
    assert organisation.phone == ""


def test_one_works_in_one_organisation_at_a_time(office, ines, organisation):
    other = make_organisation(name="ZZ Tankers")
    Membership.objects.create(user=ines, organisation=other, role="reader")
    assert organisation.name in office.get(reverse("customers:organisation")).content.decode()
    office.post(reverse("customers:organisation_choose"), {"organisation": other.slug})
    page = office.get(reverse("customers:organisation")).content.decode()
    assert "<h1>ZZ Tankers</h1>" in page
    assert office.get(reverse("customers:premises_add")).status_code == 403


def test_nobody_works_where_they_are_no_member(office):
    strange = make_organisation()
    answer = office.post(reverse("customers:organisation_choose"), {"organisation": strange.slug})
    assert answer.status_code == 404


def test_a_plan_is_written_down_in_pounds_and_kept_in_pence(office, organisation):
    fields = {"name": "Plant care", "price_pence": "310.50", "offered": "on"}
    fields |= dict.fromkeys(
        ("emptyings_per_year", "service_visits_per_year", "inspections_per_year"), "1"
    )
    office.post(reverse("customers:plan_add"), fields)
    assert AftercarePlan.objects.get().price_pence == 31_050
    again = office.post(reverse("customers:plan_add"), fields).content.decode()
    assert "There is a plan of this name already" in again


@pytest.fixture
def place(organisation):
    return make_premises(organisation)


@pytest.fixture
def plan(organisation):
    return AftercarePlan.objects.create(
        organisation=organisation, name="Yearly look", price_pence=24_000
    )


def test_an_agreement_is_sold_from_the_page_of_the_place(office, place, plan):
    address = reverse("customers:agreement_add", args=[place.public_id])
    fields = {"plan": plan.pk, "starts_on": "2026-02-01", "ends_on": "2027-01-31"}
    office.post(address, fields)
    assert Agreement.objects.get().price_pence == 24_000
    overlapping = office.post(address, {**fields, "starts_on": "2026-03-01"}).content.decode()
    assert "There is an agreement for part of this time already" in overlapping


def test_an_agreement_that_ends_before_it_starts_is_refused(office, place, plan):
    fields = {"plan": plan.pk, "starts_on": "2026-02-01", "ends_on": "2026-01-31"}
    page = office.post(reverse("customers:agreement_add", args=[place.public_id]), fields)
    assert "The last day is before the first" in page.content.decode()


def test_a_plan_of_another_organisation_cannot_be_sold(office, place):
    theirs = AftercarePlan.objects.create(
        organisation=make_organisation(), name="Theirs", price_pence=1
    )
    fields = {"plan": theirs.pk, "starts_on": "2026-02-01", "ends_on": "2027-01-31"}
    office.post(reverse("customers:agreement_add", args=[place.public_id]), fields)
    assert not Agreement.objects.exists()


def test_the_list_tells_running_from_ended(office, organisation, place, plan):
    today = dt.date.today()  # noqa: DTZ011 - only to make rows on both sides of now
    day = dt.timedelta(days=1)
    terms = {"Running": (today - day, today + 30 * day), "Over": (today - 9 * day, today - 5 * day)}
    for name, (starts, ends) in terms.items():
        Agreement.objects.create(
            organisation=organisation,
            premises=make_premises(organisation, name=name),
            plan=plan,
            starts_on=starts,
            ends_on=ends,
            price_pence=1,
        )
    address = reverse("customers:agreements")
    running = office.get(address, {"which": "ending"}).content.decode()
    assert "Running</a>" in running
    assert "Over</a>" not in running
    assert "Over</a>" in office.get(address, {"which": "past"}).content.decode()


def test_ending_early_asks_why(office, organisation, place, plan):
    sold = Agreement.objects.create(
        organisation=organisation,
        premises=place,
        plan=plan,
        starts_on=dt.date(2026, 1, 1),
        ends_on=dt.date(2030, 1, 1),
        price_pence=1,
    )
    address = reverse("customers:agreement_end", args=[sold.public_id])
    assert "Why: " in office.post(address, {"ended_on": "2026-06-01"}).content.decode()
    office.post(address, {"ended_on": "2026-06-01", "ended_reason": "House sold"})
    sold.refresh_from_db()
    assert sold.ended_on == dt.date(2026, 6, 1)


def test_costs_are_typed_in_pounds_and_kept_in_pence(office, organisation):
    fields = settings_of(organisation, emptying_cost_pence="240.50", dip_cost_pence="12")
    office.post(reverse("customers:organisation_edit"), fields)
    organisation.refresh_from_db()
    assert (organisation.emptying_cost_pence, organisation.dip_cost_pence) == (24_050, 1_200)


def test_dates_by_cost_need_both_costs_and_the_field_says_so(office, organisation):
    fields = settings_of(organisation, dates_by="cost", emptying_cost_pence="240")
    page = office.post(reverse("customers:organisation_edit"), fields).content.decode()
    assert "Needed to set dates by what costs least." in page
    organisation.refresh_from_db()
    assert organisation.dates_by == "risk"
