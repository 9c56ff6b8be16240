"""Hand edits: what they would change and break, told without changing anything."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.routing.moves import apply_move, check_move, check_sequence, take_off
from scheduler.routing.plan import Effort, LeftOut, plan_rounds
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    a_job,
    a_problem,
    a_tanker,
    a_window,
    planned_jobs,
    rules_broken,
    table_of,
)

TANKERS = (a_tanker(), a_tanker(id="big", capacity_litres=14_000))
PROBLEM = a_problem(*(a_job(number) for number in range(1, 7)), tankers=TANKERS, days=2)
TABLE = table_of(PROBLEM)
PLAN = plan_rounds(PROBLEM, effort=Effort(iterations=200))
TUESDAY = MONDAY + timedelta(days=1)


def moved(*, job="job-1", tanker="big", on=TUESDAY, position=None, problem=PROBLEM, plan=PLAN):
    return check_move(
        problem, plan, table=TABLE, job=job, to_tanker=tanker, on=on, position=position
    )


def test_a_move_to_an_idle_day_is_possible_and_dearer():
    busy = {(round_.tanker, round_.on) for round_ in PLAN.rounds}
    idle = next(on for on in (MONDAY, TUESDAY) if ("tess", on) not in busy)
    check = moved(tanker="tess", on=idle)
    assert check.possible
    assert check.cost_change_pence > 0
    assert {(round_.tanker, round_.on) for round_ in check.rounds} >= {("tess", idle)}


def test_a_move_tells_the_exact_change_of_cost_and_distance():
    check = moved()
    after = apply_move(PLAN, check)
    assert after.costs.total - PLAN.costs.total == check.cost_change_pence
    assert after.metres - PLAN.metres == check.metres_change
    assert planned_jobs(after) == planned_jobs(PLAN)
    assert rules_broken(PROBLEM, *after.rounds) == set()
    assert after.checked


def test_a_position_is_kept_as_given():
    round_ = PLAN.rounds[0]
    job = round_.job_ids[-1]
    check = moved(job=job, tanker=round_.tanker, on=round_.on, position=0)
    assert check.rounds[0].job_ids[0] == job
    assert len(check.rounds) == 1


def test_a_position_past_the_end_is_the_end():
    check = moved(position=99)
    assert check.rounds[0].job_ids[-1] == "job-1"


def test_a_move_that_breaks_a_promise_says_so_and_is_not_possible():
    problem = replace(PROBLEM, jobs=(a_job(1, windows=(a_window(9, 11),)), *PROBLEM.jobs[1:]))
    check = moved(problem=problem)
    assert not check.possible
    assert {breach.rule for breach in check.breaches} == {"window"}
    assert not apply_move(PLAN, check).checked


def test_taking_a_job_off_and_naming_why_keeps_every_job_accounted_for():
    check = take_off(PROBLEM, PLAN, table=TABLE, job="job-2")
    line = LeftOut(job="job-2", rule="by-hand", why="Taken off by Ines.")
    after = apply_move(PLAN, check, left_out=line)
    assert "job-2" not in planned_jobs(after)
    assert line in after.left_out
    assert check.cost_change_pence < 0


def test_taking_off_a_job_that_is_in_no_round_changes_nothing():
    plan = replace(PLAN, rounds=())
    check = take_off(PROBLEM, plan, table=TABLE, job="job-2")
    assert (check.rounds, check.cost_change_pence, check.possible) == ((), 0, True)


def test_a_left_out_job_can_be_put_on_by_hand():
    plan = replace(PLAN, rounds=(), left_out=(LeftOut(job="job-1", rule="full", why="Full."),))
    after = apply_move(plan, moved(plan=plan))
    assert planned_jobs(after) == {"job-1"}
    assert after.left_out == ()


def test_a_tanker_left_without_jobs_stays_at_home():
    plan = replace(PLAN, rounds=())
    plan = apply_move(plan, moved(plan=plan, on=MONDAY))
    check = moved(plan=plan, on=TUESDAY)
    assert [round_.on for round_ in apply_move(plan, check).rounds] == [TUESDAY]


def test_tips_are_added_to_a_hand_made_order_before_the_tank_overfills():
    ids = [f"job-{number}" for number in range(1, 6)]
    check = check_sequence(PROBLEM, table=TABLE, tanker="tess", on=MONDAY, job_ids=ids)
    assert check.round.job_ids == tuple(ids)
    assert check.round.tips == 2
    assert check.breaches == ()


@pytest.mark.parametrize("day", [MONDAY, TUESDAY])
def test_an_order_that_cannot_be_driven_in_time_is_shown_with_what_it_breaks(day):
    problem = replace(PROBLEM, tankers=(a_tanker(shift_end_seconds=9 * HOUR), TANKERS[1]))
    check = check_sequence(
        problem, table=TABLE, tanker="tess", on=day, job_ids=["job-1", "job-5", "job-6"]
    )
    assert {breach.rule for breach in check.breaches} == {"shift", "duty"}
    assert check.round.job_ids == ("job-1", "job-5", "job-6")
