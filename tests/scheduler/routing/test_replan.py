"""The rest of a day after something happened: from where tankers are, moving little, telling all."""

from dataclasses import replace

import pytest

from scheduler.routing.comparing import changes_between, figures_of
from scheduler.routing.driver_hours import ASSIMILATED
from scheduler.routing.plan import Effort, Plan, plan_rounds
from scheduler.routing.problem import TankerStart, Works
from scheduler.routing.replan import Happening, replan_day
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_round,
    a_tanker,
    a_window,
    planned_jobs,
    rules_broken,
)

EFFORT = Effort(iterations=300)
OTHER_WORKS = Works(id="far works", latitude=52.15, longitude=-3.1)
PROBLEM = a_problem(
    *(a_job(number) for number in range(1, 9)),
    tankers=(a_tanker(width_m=2.5), a_tanker(id="two", width_m=2.5)),
    works=(WORKS, OTHER_WORKS),
)
# Long enough to be the best there is: a plan that is not may be bettered when nothing happened.
PLAN = plan_rounds(PROBLEM, effort=Effort(iterations=4000))
BUSY = max(PLAN.rounds, key=lambda round_: len(round_.job_ids))
NOON = (BUSY.stops[2].depart_seconds + BUSY.stops[3].arrive_seconds) // 2
DONE = {s.id for r in PLAN.rounds for s in r.stops if s.kind == "job" and s.depart_seconds <= NOON}
COMMITTED = {
    next(s.id for s in r.stops if s.depart_seconds > NOON)
    for r in PLAN.rounds
    if r.start_seconds < NOON < r.end_seconds
}


def after(problem=PROBLEM, plan=PLAN, at_seconds=NOON, **happened):
    happening = Happening(on=MONDAY, at_seconds=at_seconds, **happened)
    return replan_day(problem, plan, happening, effort=EFFORT)


def test_nothing_happened_and_nothing_moves():
    again = after()
    assert again.changes == ()
    assert again.plan.checked
    assert planned_jobs(again.plan) == planned_jobs(PLAN) - DONE - COMMITTED


def test_before_the_day_begins_all_of_it_is_open():
    again = after(at_seconds=5 * HOUR)
    assert planned_jobs(again.plan) == planned_jobs(PLAN)


def test_a_breakdown_hands_the_jobs_to_the_other_tanker():
    again = after(off_the_road=frozenset({BUSY.tanker}))
    left = {s.id for s in BUSY.stops if s.kind == "job" and s.depart_seconds > NOON}
    assert {round_.tanker for round_ in again.plan.rounds} <= {"tess", "two"} - {BUSY.tanker}
    told = {change.job for change in again.changes}
    assert left <= told
    assert again.plan.checked


def test_what_a_broken_tanker_has_finished_is_not_done_again():
    again = after(off_the_road=frozenset({BUSY.tanker}))
    finished = DONE & set(BUSY.job_ids)
    assert finished
    assert not finished & planned_jobs(again.plan)
    assert not finished & {job.id for job in again.problem.jobs}
    assert not finished & {change.job for change in again.changes}


def test_only_what_was_loaded_since_the_last_tip_is_on_board():
    trade = a_job(1, waste="trade")
    jobs = (trade, a_job(2), a_job(3))
    round_ = a_round(a_problem(*jobs, tankers=(a_tanker(capacity_litres=3000),)), "job-1", "job-2")
    problem = a_problem(*jobs, tankers=(a_tanker(capacity_litres=3000),))
    plan = Plan(rounds=(round_,), left_out=(), missed_value_pence=0)
    at = next(s.start_seconds for s in round_.stops if s.id == "job-2")
    again = replan_day(problem, plan, Happening(on=MONDAY, at_seconds=at), effort=EFFORT)
    assert [start.loaded_wastes for start in again.problem.starts] == [("",)]


def test_a_break_shorter_than_the_regimes_ends_no_spell_at_the_wheel():
    tanker = a_tanker(
        driver_hours=ASSIMILATED,
        break_seconds=1800,
        capacity_litres=30_000,
        break_from_seconds=8 * HOUR,
        break_until_seconds=11 * HOUR,
    )
    problem = a_problem(*(a_job(n) for n in range(1, 8)), tankers=(tanker,))
    round_ = a_round(problem, *(f"job-{n}" for n in range(1, 8)))
    plan, stops = Plan(rounds=(round_,), left_out=(), missed_value_pence=0), round_.stops
    rest = next(n for n, s in enumerate(stops) if s.kind == "break")
    assert stops[rest].depart_seconds - stops[rest].start_seconds < 2700
    happening = Happening(on=MONDAY, at_seconds=stops[rest].start_seconds)
    start = replan_day(problem, plan, happening, effort=EFFORT).problem.starts[0]
    assert start.driven_since_break_seconds == sum(s.drive_seconds for s in stops[: rest + 1])


def test_a_shut_works_sends_loads_to_another():
    again = after(shut_works=frozenset({"works"}))
    tips = {stop.id for r in again.plan.rounds for stop in r.stops if stop.kind == "tip"}
    assert tips == {"far works"}


def test_an_abandoned_job_is_not_driven_to_again():
    job = next(job for job in BUSY.job_ids if job not in DONE | COMMITTED)
    again = after(abandoned=frozenset({job}))
    assert job not in planned_jobs(again.plan)
    assert job not in {change.job for change in again.changes}


def test_an_urgent_job_comes_in_and_is_told():
    urgent = a_job(20, latitude=52.02, longitude=-3.02)
    again = after(urgent=(urgent,))
    assert "job-20" in planned_jobs(again.plan)
    assert {c.kind for c in again.changes if c.job == "job-20"} == {"added"}


def test_a_tanker_stands_where_its_driver_says():
    stands = TankerStart(
        tanker=BUSY.tanker, on=MONDAY, latitude=52.3, longitude=-3.2, at_seconds=NOON,
        load_litres=8000, loaded_wastes=("",), on_duty_since_seconds=7 * HOUR,
    )  # fmt: skip
    again = after(stands={BUSY.tanker: stands})
    round_ = next(r for r in again.plan.rounds if r.tanker == BUSY.tanker)
    assert round_.stops[0].load_after_litres == 8000
    assert round_.stops[1].kind == "tip"
    assert rules_broken(again.problem, round_) == set()


def test_a_tanker_that_is_out_and_has_nothing_left_comes_home_empty():
    stands = TankerStart(
        tanker="tess", on=MONDAY, latitude=52.1, longitude=-3.1, at_seconds=12 * HOUR,
        load_litres=3000, loaded_wastes=("",),
    )  # fmt: skip
    problem = a_problem(starts=(stands,))
    plan = plan_rounds(problem, effort=EFFORT)
    assert [stop.kind for stop in plan.rounds[0].stops] == ["base", "tip", "base"]
    assert plan.checked


def test_a_promise_that_cannot_be_kept_is_moved_the_same_day_and_told():
    promised = a_job(1, windows=(a_window(9, 10),))
    problem = a_problem(promised, a_job(2), a_job(3), tankers=(a_tanker(),))
    plan = plan_rounds(problem, effort=EFFORT)
    stands = TankerStart(
        tanker="tess", on=MONDAY, latitude=52.2, longitude=-3.2, at_seconds=11 * HOUR
    )
    again = replan_day(
        problem,
        plan,
        Happening(on=MONDAY, at_seconds=8 * HOUR, stands={"tess": stands}),
        effort=EFFORT,
    )
    assert "job-1" in planned_jobs(again.plan)
    assert [c.promise_broken for c in again.changes if c.job == "job-1"] == [True]


def test_little_moves_when_an_urgent_job_could_go_anywhere():
    urgent = a_job(20, latitude=52.05, longitude=-3.0)
    again = after(urgent=(urgent,), at_seconds=6 * HOUR)
    assert sum(change.kind == "tanker" for change in again.changes) <= 1


def test_figures_add_up_and_a_plan_does_not_differ_from_itself():
    figures = figures_of(PROBLEM, PLAN)
    assert figures.jobs + figures.left_out == len(PROBLEM.jobs)
    assert figures.litres == 3000 * figures.jobs
    assert figures.kilometres == pytest.approx(PLAN.metres / 1000)
    assert figures.late_days == 0
    assert changes_between(PROBLEM, PLAN, PLAN) == ()


def test_a_job_that_falls_out_is_told_with_its_reason():
    without = replace(PLAN, rounds=PLAN.rounds[1:])
    gone = {change.job for change in changes_between(PROBLEM, PLAN, without)}
    assert gone == set(PLAN.rounds[0].job_ids)
