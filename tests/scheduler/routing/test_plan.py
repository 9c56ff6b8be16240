"""Whole plans: equal to brute force, repeatable, honest about what is left out."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.routing.checker import check_plan
from scheduler.routing.errors import BadMatrix, BadQuantity
from scheduler.routing.plan import Effort, Progress, plan_rounds
from scheduler.routing.problem import TankerStart, Works
from scheduler.routing.splitting import with_parts
from scheduler.routing.travel_times import GivenMatrix
from tests.scheduler.routing.brute_force import cheapest_day_without_windows, cheapest_pence
from tests.scheduler.routing.messy_problems import a_messy_problem
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_tanker,
    a_window,
    planned_jobs,
    random_jobs,
    rules_broken,
    table_of,
)

QUICK = Effort(iterations=300)
THOROUGH = Effort(iterations=2000)


@pytest.mark.parametrize("seed", range(8))
def test_the_plan_of_a_small_day_is_the_cheapest_there_is(seed):
    tankers = (a_tanker(), a_tanker(id="big", capacity_litres=14_000, pence_per_km=75))
    jobs = [replace(job, required=False) for job in random_jobs(seed, 5)]
    problem = a_problem(*jobs, tankers=tankers)
    plan = plan_rounds(problem, effort=THOROUGH)
    assert plan.checked
    assert plan.objective_pence == pytest.approx(cheapest_pence(problem), abs=4)


@pytest.mark.parametrize("seed", range(101, 109))
def test_eight_jobs_on_one_tanker_are_driven_at_the_least_cost(seed):
    tanker = a_tanker(capacity_litres=14_000, shift_end_seconds=24 * HOUR)
    jobs = [replace(job, required=True, windows=()) for job in random_jobs(seed, 8)]
    works = replace(WORKS, closes_seconds=24 * HOUR)
    problem = a_problem(*jobs, tankers=(tanker,), works=(works,))
    plan = plan_rounds(problem, effort=THOROUGH)
    assert planned_jobs(plan) == {job.id for job in jobs}
    assert plan.costs.total == pytest.approx(cheapest_day_without_windows(problem), abs=4)


def test_a_day_that_is_not_worth_it_is_not_driven():
    jobs = [replace(a_job(number), required=False, value_pence=2500) for number in range(1, 5)]
    assert plan_rounds(a_problem(*jobs), effort=QUICK).rounds == ()


@given(st.integers(0, 10_000), st.booleans(), st.integers(1, 3))
@settings(max_examples=8, deadline=None)
def test_every_job_is_planned_once_or_left_out_with_a_reason(seed, breaks, days):
    tankers = (
        a_tanker(break_seconds=1800 if breaks else 0),
        a_tanker(id="big", capacity_litres=14_000, off=frozenset({MONDAY})),
    )
    jobs = random_jobs(seed, 14, days=days)
    plan = plan_rounds(a_problem(*jobs, tankers=tankers, days=days), effort=QUICK)
    out = [line.job for line in plan.left_out]
    assert sorted([*planned_jobs(plan), *out]) == sorted(job.id for job in jobs)
    assert plan.checked
    assert all(line.why for line in plan.left_out)


def test_the_same_seed_gives_the_same_plan():
    problem = a_problem(*random_jobs(5, 15), tankers=(a_tanker(), a_tanker(id="two")))
    assert plan_rounds(problem, effort=QUICK) == plan_rounds(problem, effort=QUICK)


def test_no_jobs_make_an_empty_plan():
    plan = plan_rounds(a_problem(), effort=QUICK)
    assert (plan.rounds, plan.left_out, plan.objective_pence, plan.checked) == ((), (), 0, True)


def test_a_tanker_that_is_not_needed_stays_at_home():
    tankers = (a_tanker(break_seconds=1800), a_tanker(id="idle", break_seconds=1800))
    plan = plan_rounds(a_problem(a_job(1), tankers=tankers), effort=QUICK)
    assert len(plan.rounds) == 1


def test_the_break_is_taken_in_its_window_on_a_full_day():
    tanker = a_tanker(break_seconds=1800)
    jobs = [a_job(number, service_seconds=4500) for number in range(1, 6)]
    plan = plan_rounds(a_problem(*jobs, tankers=(tanker,)), effort=QUICK)
    rest = next(stop for stop in plan.rounds[0].stops if stop.kind == "break")
    assert tanker.break_from_seconds <= rest.start_seconds <= tanker.break_until_seconds
    assert plan.checked


def test_a_promised_window_is_kept():
    jobs = [a_job(1, windows=(a_window(13, 14),)), *(a_job(number) for number in (2, 3, 4))]
    plan = plan_rounds(a_problem(*jobs), effort=QUICK)
    stop = next(stop for stop in plan.rounds[0].stops if stop.id == "job-1")
    assert 13 * HOUR <= stop.start_seconds <= 14 * HOUR


def test_a_narrow_lane_gets_the_narrow_tanker():
    tankers = (a_tanker(width_m=2.5, pence_per_km=1), a_tanker(id="narrow", width_m=2.1))
    plan = plan_rounds(a_problem(a_job(1, max_width_m=2.3), tankers=tankers), effort=QUICK)
    assert plan.rounds[0].tanker == "narrow"


def test_lateness_and_risk_choose_the_day():
    tuesday = MONDAY + timedelta(days=1)
    jobs = (
        a_job(1, due=MONDAY, late_pence_per_day=9000),
        a_job(2, day_cost_pence={MONDAY: 20_000}),
    )
    plan = plan_rounds(a_problem(*jobs, days=2), effort=QUICK)
    assert {job: r.on for r in plan.rounds for job in r.job_ids} == {
        "job-1": MONDAY,
        "job-2": tuesday,
    }


def test_a_lock_holds_tanker_and_day():
    tankers = (a_tanker(), a_tanker(id="dear", pence_per_km=500))
    tuesday = MONDAY + timedelta(days=1)
    job = a_job(1, locked_tanker="dear", locked_on=tuesday)
    plan = plan_rounds(a_problem(job, tankers=tankers, days=2), effort=QUICK)
    assert [(r.tanker, r.on) for r in plan.rounds] == [("dear", tuesday)]


def test_a_load_goes_to_the_works_that_accepts_it():
    far = Works(id="far", latitude=52.2, longitude=-3.2, accepts=frozenset({"cesspool", ""}))
    near = replace(WORKS, accepts=frozenset({""}))
    plan = plan_rounds(a_problem(a_job(1, waste="cesspool"), works=(near, far)), effort=QUICK)
    assert [stop.id for stop in plan.rounds[0].stops if stop.kind == "tip"] == ["far"]


def test_a_tanker_that_starts_loaded_tips_first():
    start = TankerStart(
        tanker="tess", on=MONDAY, latitude=52.0, longitude=-3.0, at_seconds=7 * HOUR,
        load_litres=7000,
    )  # fmt: skip
    plan = plan_rounds(a_problem(a_job(1), starts=(start,)), effort=QUICK)
    assert [stop.kind for stop in plan.rounds[0].stops] == ["base", "tip", "job", "tip", "base"]
    assert plan.checked


def test_a_plan_in_force_is_where_the_search_begins():
    problem = a_problem(*random_jobs(9, 20), tankers=(a_tanker(), a_tanker(id="two")))
    good = plan_rounds(problem, effort=THOROUGH)
    again = plan_rounds(problem, effort=Effort(iterations=1), keep=good)
    assert again.objective_pence <= good.objective_pence


def test_progress_is_told_and_a_search_can_be_stopped():
    told: list[Progress] = []
    problem = a_problem(*random_jobs(9, 25), tankers=(a_tanker(), a_tanker(id="two")))
    plan = plan_rounds(
        problem,
        effort=Effort(seconds=60),
        progress=told.append,
        should_stop=lambda: bool(told),
    )
    assert plan.checked
    assert told[0].iterations > 0


def test_warnings_of_the_travel_table_reach_the_plan():
    problem = a_problem(a_job())
    table = table_of(problem)
    seconds = table.seconds.astype(float)
    seconds[0, 1] = float("nan")
    travel = GivenMatrix(ids=table.ids, metres=table.metres, seconds=seconds)
    plan = plan_rounds(problem, travel=travel, effort=QUICK)
    assert "1 of 6" in plan.warnings[0]
    assert plan.checked


def test_a_matrix_of_the_wrong_size_is_refused():
    travel = GivenMatrix(ids=("yard", "works", "job-1"), metres=[[0]], seconds=[[0]])
    with pytest.raises(BadMatrix):
        plan_rounds(a_problem(a_job()), travel=travel, effort=QUICK)


@pytest.mark.parametrize(
    "limits",
    [{}, {"iterations": 5, "seconds": 1}, {"seconds": 0}, {"iterations": 5, "processes": 0}],
)
def test_an_effort_without_one_limit_is_refused(limits):
    with pytest.raises(BadQuantity):
        Effort(**limits)


def test_a_round_adds_up():
    problem = a_problem(a_job(1), a_job(2), a_job(3), a_job(4))
    plan = plan_rounds(problem, effort=QUICK)
    table = table_of(problem)
    driven = plan.rounds[0]
    assert check_plan(problem, table, plan.rounds) == []
    assert driven.litres == 12_000
    assert driven.tips == 2
    assert plan.costs.total == driven.costs.total
    assert driven.costs.distance == round(driven.metres * 0.06)
    assert driven.costs.time == round(driven.duty_seconds * 0.7)
    assert driven.costs.tipping == 3000
    assert plan.metres == driven.metres
    assert all(stop.wait_seconds >= 0 for stop in driven.stops)


@given(st.integers(0, 100_000))
@settings(max_examples=25, deadline=None)
def test_whatever_the_fleet_no_round_with_a_job_breaks_a_rule(seed):
    """A tanker already out too long, or loaded with every works shut, is told by a warning."""
    problem = with_parts(a_messy_problem(seed))
    plan = plan_rounds(problem, effort=Effort(iterations=40, seed=seed))
    out = [line.job for line in plan.left_out]
    assert sorted([*planned_jobs(plan), *out]) == sorted(job.id for job in problem.jobs)
    at_work = [round_ for round_ in plan.rounds if round_.job_ids]
    assert rules_broken(problem, *at_work) == set()
    assert plan.checked == (not plan.warnings)


def test_a_loaded_tanker_with_every_works_shut_is_told_and_not_sent_to_one():
    start = TankerStart(
        tanker="tess", on=MONDAY, latitude=52.0, longitude=-3.0, at_seconds=7 * HOUR,
        load_litres=7000,
    )  # fmt: skip
    works = replace(WORKS, closed_on=frozenset({MONDAY}))
    plan = plan_rounds(a_problem(works=(works,), starts=(start,)), effort=QUICK)
    assert not plan.checked
    assert "comes home with 7,000 L" in plan.warnings[0]
