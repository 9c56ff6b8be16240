"""Many days: together, day by day, and in blocks; every way keeps every rule."""

from datetime import timedelta

import pytest

from scheduler.routing import days
from scheduler.routing.days import Days
from scheduler.routing.plan import Effort, finished, plan_rounds
from scheduler.routing.repair import orders_pence
from scheduler.routing.roads import Roads
from scheduler.routing.search import Watch
from tests.scheduler.routing.problems import (
    MONDAY,
    a_job,
    a_problem,
    a_tanker,
    planned_jobs,
    random_jobs,
    table_of,
)

PROBLEM = a_problem(
    *random_jobs(11, 40, days=4),
    tankers=(a_tanker(break_seconds=1800), a_tanker(id="two", capacity_litres=14_000)),
    days=4,
)
ROADS = Roads(table_of(PROBLEM))
DAYS = Days(PROBLEM, ROADS, PROBLEM.jobs, Watch())


def checked_plan(orders):
    plan = finished(PROBLEM, ROADS, orders, PROBLEM.jobs, [])
    assert plan.checked
    assert len(planned_jobs(plan)) + len(plan.left_out) == len(PROBLEM.jobs)
    return plan


def test_day_by_day_makes_a_plan_that_can_be_driven():
    plan = checked_plan(DAYS.day_by_day(Effort(iterations=400)))
    assert len({round_.on for round_ in plan.rounds}) > 1


def test_planning_together_is_no_worse_than_day_by_day():
    first = DAYS.day_by_day(Effort(iterations=400))
    together = DAYS.together(PROBLEM.dates, PROBLEM.jobs, Effort(iterations=400), first)
    cost = [orders_pence(PROBLEM, ROADS, each, PROBLEM.jobs) for each in (together, first)]
    assert cost[0] <= cost[1]


@pytest.mark.parametrize("processes", [1, 2])
def test_turns_are_no_worse_than_the_plan_they_begin_with(processes):
    first = DAYS.day_by_day(Effort(iterations=200))
    turns = DAYS.in_turns(Effort(iterations=600, processes=processes), first)
    checked_plan(turns)
    cost = [orders_pence(PROBLEM, ROADS, each, PROBLEM.jobs) for each in (turns, first)]
    assert cost[0] <= cost[1]


def test_turns_keep_every_job_on_one_day_at_most():
    turns = DAYS.in_turns(Effort(iterations=200, processes=2), [])
    placed = [visit.id for _, visits in turns for visit in visits if visit.kind == "job"]
    assert len(placed) == len(set(placed)) > 10


def test_turns_end_when_told_to():
    first = DAYS.day_by_day(Effort(iterations=50))
    stopped = Days(PROBLEM, ROADS, PROBLEM.jobs, Watch(should_stop=lambda: True))
    assert stopped.in_turns(Effort(iterations=10**9), first) == first


@pytest.mark.parametrize("largest", [0, 10**12])
def test_a_model_too_large_for_memory_is_planned_in_turns_only(monkeypatch, largest):
    monkeypatch.setattr(days, "JOBS_PLANNED_AT_ONCE", 10)
    monkeypatch.setattr(days, "LARGEST_MODEL_BYTES", largest)
    called: list[int] = []
    together = Days.together

    def counted(self, dates, jobs, effort, warm):
        called.append(len(dates))
        return together(self, dates, jobs, effort, warm)

    monkeypatch.setattr(Days, "together", counted)
    assert plan_rounds(PROBLEM, effort=Effort(iterations=100)).checked
    assert called == ([] if largest == 0 else [4])


@pytest.mark.parametrize(
    ("effort", "left"),
    [
        (Effort(seconds=100), 60),
        (Effort(seconds=20), 1),
        (Effort(seconds=100, processor_time=True), 70),
        (Effort(iterations=100), None),
    ],
)
def test_by_the_clock_what_is_left_is_what_the_clock_leaves(monkeypatch, effort, left):
    monkeypatch.setattr(days.time, "monotonic", lambda: 140.0)
    rest = days._rest(effort, 100.0, 0.7)
    assert (rest.seconds, rest.iterations) == (left, 70 if left is None else None)


def test_the_memory_of_a_model_grows_with_jobs_and_days():
    one_day = DAYS.model_bytes(40, PROBLEM.dates[:1])
    assert DAYS.model_bytes(40, PROBLEM.dates) > 4 * one_day
    assert DAYS.model_bytes(2000, PROBLEM.dates) > 1000 * one_day


def test_the_last_chance_comes_before_a_dearer_job_that_can_wait():
    jobs = [a_job(1, latest=MONDAY), *(a_job(n, value_pence=9000) for n in range(2, 90))]
    problem = a_problem(*jobs, days=3)
    some = Days(problem, Roads(table_of(problem)), problem.jobs, Watch())
    offered = some._candidates(problem.jobs, MONDAY)
    assert offered[0].id == "job-1"
    assert len(offered) == days.CANDIDATES_A_TANKER


def test_a_promise_costs_to_move():
    tuesday = MONDAY + timedelta(days=1)
    stays = a_job(1, planned_on=tuesday, planned_tanker="tess", move_pence=9000, due=MONDAY,
                  late_pence_per_day=100)  # fmt: skip
    plan = plan_rounds(
        a_problem(stays, a_job(2, latest=MONDAY), days=2), effort=Effort(iterations=200)
    )
    assert plan.round_of("job-1").on == tuesday


def test_it_moves_when_staying_costs_more():
    tuesday = MONDAY + timedelta(days=1)
    job = a_job(1, planned_on=tuesday, move_pence=100, due=MONDAY, late_pence_per_day=5000)
    plan = plan_rounds(a_problem(job, days=2), effort=Effort(iterations=200))
    assert plan.round_of("job-1").on == MONDAY
    assert plan.costs.late == 100
