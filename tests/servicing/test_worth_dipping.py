"""Tanks whose measuring pays: worked out in the organisation's money, shown by place."""

import datetime as dt

import pytest
from django.template import Context, Template
from django.test import RequestFactory
from django.urls import reverse

from servicing.forecasts import refresh_forecasts, value_dips
from servicing.forecasts.dip_worth import near
from servicing.models import DipWorth, System
from tests.make import make_job, make_organisation, make_premises, make_system, make_user
from tests.servicing.test_fleet_learning import dip

pytestmark = pytest.mark.django_db

TODAY = dt.date(2027, 1, 4)


@pytest.fixture
def organisation():
    return make_organisation(
        interval_override_months=240,
        interval_override_reason="By level.",
        emptying_cost_pence=24_000,
        trouble_cost_pence=60_000,
        dip_cost_pence=100,
    )


def make_unknown(organisation, **premises):
    """A home of four, never measured, whose date is near."""
    place = make_premises(organisation, **premises)
    return make_system(
        organisation,
        premises=place,
        last_emptied_on=dt.date(2024, 6, 1),
        occupancy={"persons": 4},
    )


def worked_out(organisation, today=TODAY):
    refresh_forecasts(System.objects.filter(organisation=organisation), today=today)
    return value_dips(organisation, today=today)


def test_a_dip_narrows_the_date_as_the_last_one_did(organisation):
    unknown, known = make_unknown(organisation), make_unknown(organisation)
    dip(known, dt.date(2026, 12, 1), 640)
    worked_out(organisation)
    first, second = unknown.dip_worth, known.dip_worth
    assert first.range_days_after < first.range_days
    assert second.range_days < first.range_days
    assert first.saves_pence > 0


def test_a_ceiling_that_binds_makes_a_dip_idle(organisation):
    system = make_unknown(organisation)
    system.maker_interval_months = 12
    system.save(update_fields=["maker_interval_months"])
    worked_out(organisation)
    assert not DipWorth.objects.exists()


def test_a_cesspool_is_emptied_before_a_dip_could_be_learned_from(organisation):
    make_system(
        organisation,
        kind="cesspool",
        tank={"working_volume_litres": 18000},
        last_emptied_on=dt.date(2026, 12, 1),
    )
    assert worked_out(organisation) == 0


def test_without_costs_nothing_is_claimed_and_the_page_asks_for_them(client, organisation):
    organisation.dip_cost_pence = None
    organisation.save(update_fields=["dip_cost_pence"])
    make_unknown(organisation)
    assert worked_out(organisation) == 0
    client.force_login(make_user(organisation))
    assert "not in the" in client.get(reverse("servicing:worth_dipping")).content.decode()


def test_working_it_out_twice_on_a_day_writes_nothing(organisation):
    make_unknown(organisation)
    assert worked_out(organisation) == 1
    assert worked_out(organisation) == 0
    assert worked_out(organisation, TODAY + dt.timedelta(days=7)) == 1


def test_the_page_groups_by_the_first_part_of_the_postcode(client, organisation):
    for code in ("ZZ2 3AB", "ZZ1 1ZZ", "ZZ2 9XY"):
        make_unknown(organisation, postcode=code)
    worked_out(organisation)
    client.force_login(make_user(organisation))
    places = client.get(reverse("servicing:worth_dipping")).context["places"]
    assert [(name, len(rows)) for name, rows in places] == [("ZZ1", 1), ("ZZ2", 2)]


def test_near_is_as_the_crow_flies_nearest_first(organisation):
    # One degree of latitude is 111.2 km on a sphere of 6,371 km: 0.009 degrees are 1.0 km.
    for up in (0.018, 0.009, 0.045):
        make_unknown(organisation, latitude=52.5 + up, longitude=-2.9)
    worked_out(organisation)
    rows = DipWorth.objects.all().that_pay()
    found = near(rows, latitude=52.5, longitude=-2.9, km=3)
    assert [round(one.km, 1) for one in found] == [1.0, 2.0]


def shown_at(job, user):
    request = RequestFactory().get("/")
    request.user = user
    page = Template("{% load dips_nearby %}{% dips_nearby job %}")
    return page.render(Context({"job": job, "request": request}))


def test_a_crew_sees_what_pays_nearby_but_not_the_tank_it_empties(organisation):
    here = make_unknown(organisation, latitude=52.5, longitude=-2.9)
    next_door = make_unknown(organisation, latitude=52.501, longitude=-2.9)
    worked_out(organisation)
    job = make_job(here, due_on=TODAY)
    shown = shown_at(job, make_user(organisation, role="crew"))
    assert next_door.reference in shown
    assert here.reference not in shown


def test_a_crew_of_another_firm_sees_none_of_it(organisation):
    here = make_unknown(organisation, latitude=52.5, longitude=-2.9)
    make_unknown(organisation, latitude=52.501, longitude=-2.9)
    worked_out(organisation)
    shown = shown_at(make_job(here, due_on=TODAY), make_user(make_organisation(), role="crew"))
    assert "While you are there" not in shown
