"""Litres, saturated ground, loads cut up and tankers that start loaded. Rules, and sums by hand."""

import datetime as dt
import math
from statistics import NormalDist

import pytest

from scheduler import booking, rounds
from scheduler.models import Round, Stop
from scheduler.round_plans.job_facts import litres_planned, spread_of
from scheduler.round_plans.problem import problem_of
from tests.make import make_crew, make_organisation, make_tanker, make_user, make_works
from tests.scheduler.planning import (
    DAY,
    THE_DAY_BEFORE,
    accepted_day,
    job_at,
    planned,
    settings_for,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def planner(office):
    return make_user(office, "planner")


@pytest.fixture
def tanker(office):
    make_works(office)
    return make_tanker(office, crew=make_crew(office))


@pytest.mark.parametrize("high", [2900, 3080, 3600, 5000])
def test_the_spread_is_that_of_the_log_normal_with_that_mean_and_nine_in_ten(office, high):
    """Against the standard library's normal distribution: exp of its 90 % point is `high`."""
    job = job_at(office, litres=2800, litres_high=high)
    variance = math.log1p((spread_of(job) / 2800) ** 2)
    centre = math.log(2800) - variance / 2
    assert math.exp(NormalDist(centre, math.sqrt(variance)).inv_cdf(0.9)) == pytest.approx(high)
    assert litres_planned(job, 0.9) == pytest.approx(high, abs=1)


def test_litres_that_are_certain_are_planned_as_they_are(office):
    job = job_at(office, litres=2800, litres_high=2800)
    assert litres_planned(job, None) == litres_planned(job, 0.95) == 2800


def test_the_chance_that_a_load_does_not_fit_stands_on_the_round(office, planner, tanker):
    """By hand: three loads of mean 2,900 L and the spread above against 9,000 L."""
    jobs = [job_at(office, litres=2900, litres_high=3400) for _ in range(3)]
    row = planned(office, planner, [tanker], jobs).rounds.get()
    [load] = row.loads
    wide = math.sqrt(3) * spread_of(jobs[0])
    assert load["chance"] == pytest.approx(1 - NormalDist(8700, wide).cdf(9000), abs=0.001)
    assert (load["jobs"], load["litres"], load["capacity"]) == (3, 8700, 9000)


def test_with_room_kept_the_chance_is_small(office, planner, tanker):
    jobs = [job_at(office, litres=2900, litres_high=3400) for _ in range(3)]
    row = planned(office, planner, [tanker], jobs, litres_quantile=0.95).rounds.get()
    assert max(load["chance"] for load in row.loads) < 0.02


def test_on_saturated_ground_no_plastic_tank_is_emptied_whole(office, planner, tanker):
    plastic = job_at(office, system={"tank": {"material": "plastic"}})
    concrete = job_at(office, system={"tank": {"material": "concrete"}})
    run = planned(office, planner, [tanker], [plastic, concrete], ground_saturated=True)
    [left] = run.left_out
    assert left["job"] == str(plastic.public_id)
    assert "float" in left["why"]
    assert not planned(office, planner, [tanker], [plastic]).left_out


def test_a_load_larger_than_the_tanker_is_taken_in_two_visits(office, planner, tanker):
    """18,000 L by a tanker of 9,000 L: two visits with a tip between them, one appointment."""
    job = job_at(office, litres=18_000, system={"kind": "cesspool"})
    [row] = accepted_day(office, planner, [tanker], [job])
    kinds = [(stop.kind, stop.part) for stop in row.stops.exclude(kind__in=["base", "break"])]
    assert {part for kind, part in kinds if kind == "job"} == {1, 2}
    assert [kind for kind, _ in kinds] == ["job", "tip", "job", "tip"]
    promise = booking.standing_appointment(job)
    for stop in row.stops.filter(job=job):
        assert promise.starts_at <= stop.start_at <= promise.ends_at


def test_where_it_may_not_be_cut_the_reason_is_said(office, planner, tanker):
    job = job_at(office, litres=18_000)
    run = planned(office, planner, [tanker], [job], split_large=False)
    assert [line["rule"] for line in run.left_out] == ["too-large"]
    assert not run.rounds.exists()


def test_half_an_emptying_is_none(office, planner, tanker):
    """The shift has time for one of the two visits only: neither is planned."""
    tanker.shift_ends, tanker.break_minutes = dt.time(9, 40), 0
    tanker.save()
    job = job_at(office, litres=18_000, minutes=60)
    run = planned(office, planner, [tanker], [job])
    assert [line["job"] for line in run.left_out] == [str(job.public_id)]
    assert not Stop.objects.filter(round__run=run, job=job).exists()


def test_visits_of_one_job_are_made_on_one_day(office, planner, tanker):
    jobs = [job_at(office, litres=18_000), *(job_at(office, minutes=120) for _ in range(4))]
    run = planned(office, planner, [tanker], jobs, days=3)
    days = Stop.objects.filter(round__run=run, job=jobs[0]).values_list("round__day", flat=True)
    assert len(days) == 2
    assert len(set(days)) == 1


def test_a_cut_job_can_be_taken_off_by_hand_but_not_moved(office, planner, tanker):
    job, other = job_at(office, litres=18_000), job_at(office)
    run = planned(office, planner, [tanker], [job, other])
    look = rounds.move_stop(run=run, job=job, tanker=tanker, day=DAY, position=0, by=planner)
    assert not look.possible
    rounds.take_off(run=run, job=job, by=planner)
    assert set(run.rounds.get().stops.values_list("job", flat=True)) - {None} == {other.pk}


def test_a_tanker_that_came_home_loaded_begins_with_that_load(office, planner, tanker):
    tanker.may_end_loaded = True
    tanker.save()
    [row] = accepted_day(office, planner, [tanker], [job_at(office, litres=8000)])
    Stop.objects.filter(round=row, kind="tip").delete()
    Stop.objects.filter(round=row, kind="base", position__gt=0).update(load_after_litres=8000)
    tomorrow = DAY + dt.timedelta(days=1)
    settings = settings_for([tanker], [])
    found = problem_of(organisation=office, first_day=tomorrow, days=1, settings=settings)
    assert [(start.load_litres, start.loaded_wastes) for start in found.starts] == [
        (8000, ("septic_tank",))
    ]
    run = planned(office, planner, [tanker], [job_at(office, litres=8500)], first_day=tomorrow)
    kinds = [stop.kind for stop in run.rounds.get().stops.exclude(kind="break")]
    assert kinds.index("tip") < kinds.index("job")


def test_what_came_home_long_ago_is_held_to_be_tipped(office, planner, tanker):
    tanker.may_end_loaded = True
    tanker.save()
    home = THE_DAY_BEFORE - dt.timedelta(days=30)
    row = Round.objects.create(
        organisation=office, tanker=tanker, day=home.date(), accepted_at=home
    )
    times = {"arrive_at": home, "start_at": home, "depart_at": home}
    Stop.objects.create(round=row, position=0, kind="base", load_after_litres=500, **times)
    settings = settings_for([tanker], [])
    found = problem_of(organisation=office, first_day=DAY, days=1, settings=settings)
    assert found.starts == ()
