"""The task that learns from every organisation's measurements."""

import datetime as dt

import pytest

from customers.local_days import local_today
from scheduler import tasks
from scheduler.timetable import TIMETABLE
from servicing.models import CheckedForecast, Dip, DipWorth, FleetLearning, Forecast, Visit
from tests.make import make_organisation, make_system

pytestmark = pytest.mark.django_db


def measured(organisation):
    """A system whose forecast of a month ago is followed by a dip of yesterday."""
    today = local_today(organisation)
    system = make_system(organisation, last_emptied_on=today - dt.timedelta(days=700))
    tasks.refresh(systems=type(system).objects.filter(pk=system.pk), today=today - dt.timedelta(30))
    visit = Visit.objects.create(
        organisation=organisation,
        system=system,
        visited_on=today - dt.timedelta(days=1),
        lid_back_on=True,
    )
    Dip.objects.create(visit=visit, tank=system.tanks.get(), litres=500)
    return system


def test_it_stands_in_the_timetable():
    assert "scheduler.tasks.learn_from_fleets" in {wake["task"] for wake in TIMETABLE.values()}


def test_each_organisation_learns_is_checked_and_is_told_what_is_worth_dipping():
    for _ in range(2):
        measured(
            make_organisation(
                interval_override_months=240,
                interval_override_reason="By level.",
                emptying_cost_pence=24_000,
                dip_cost_pence=1_000,
            )
        )
    tasks.refresh_forecasts()
    tasks.learn_from_fleets()
    counts = [model.objects.count() for model in (FleetLearning, CheckedForecast, DipWorth)]
    assert counts == [2, 2, 2]
    tasks.refresh_forecasts()
    taught = Forecast.objects.values_list("rate_p50", flat=True)
    assert len(set(taught)) == 1  # the same record teaches the same, apart from each other


def test_running_it_twice_changes_nothing():
    measured(make_organisation())
    tasks.learn_from_fleets()
    before = FleetLearning.objects.values().get(), CheckedForecast.objects.values("pk").get()
    tasks.learn_from_fleets()
    assert (
        FleetLearning.objects.values().get(),
        CheckedForecast.objects.values("pk").get(),
    ) == before
