"""Works hours by weekday and drivers' weeks reach the planner. Rules of the job, no source."""

import datetime as dt

import pytest

from scheduler.models import Round
from scheduler.round_plans import PlanSettings, fleet_of
from scheduler.round_plans.problem import problem_of
from scheduler.round_plans.worked_before import worked_before
from tests.make import make_crew, make_organisation, make_tanker, make_user, make_works
from tests.scheduler.planning import DAY, accepted_day, job_at, planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_organisation()


def test_hours_of_weekdays_reach_the_planner(office):
    make_works(office, opens=dt.time(7), closes=dt.time(17), weekday_hours={"1": None})
    make_tanker(office)
    problem = problem_of(
        organisation=office, first_day=DAY, days=1, settings=PlanSettings(tankers=(), jobs=())
    )
    [works] = problem.works
    # DAY is a Tuesday.
    assert not works.is_open_on(DAY)
    assert works.is_open_on(DAY + dt.timedelta(days=1))


def test_nothing_is_planned_to_be_tipped_where_it_is_shut(office):
    """With its only works shut on Tuesdays the load cannot be tipped: left out, and why is said."""
    make_works(office, weekday_hours={"1": None})
    tanker = make_tanker(office, crew=make_crew(office))
    run = planned(office, make_user(office, "planner"), [tanker], [job_at(office)])
    assert len(run.left_out) == 1
    assert not run.rounds.exists()


def test_what_was_driven_before_counts_towards_the_week(office):
    make_works(office)
    tanker = make_tanker(office, crew=make_crew(office))
    planner = make_user(office, "planner")
    [row] = accepted_day(office, planner, [tanker], [job_at(office)])
    fleet = fleet_of(office)
    [past] = worked_before(fleet.tankers, DAY + dt.timedelta(days=1))[tanker.pk]
    assert past.on == DAY
    assert 0 < past.driving_seconds < past.work_seconds
    breaks = sum(
        (stop.depart_at - stop.start_at).total_seconds() for stop in row.stops.filter(kind="break")
    )
    duty = Round.objects.get(pk=row.pk).stops.order_by("position")
    span = (duty.last().arrive_at - duty.first().depart_at).total_seconds()
    assert past.work_seconds == span - breaks
    assert worked_before(fleet.tankers, DAY) == {}


def test_a_tanker_whose_week_is_full_takes_no_more(office):
    make_works(office)
    tanker = make_tanker(office, crew=make_crew(office), max_week_minutes=30)
    run = planned(office, make_user(office, "planner"), [tanker], [job_at(office)])
    assert len(run.left_out) == 1
