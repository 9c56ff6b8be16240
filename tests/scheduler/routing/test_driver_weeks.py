"""Limits over a week or more, daily rest, and works whose hours differ by weekday.

Source of the limits: assimilated Regulation (EC) 561/2006, articles 4(i), 6(2), 6(3) and 8(2);
Road Transport (Working Time) Regulations 2005, regulation 4.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.routing.checker import check_plan
from scheduler.routing.driver_hours import ASSIMILATED
from scheduler.routing.errors import BadTimes
from scheduler.routing.fleet import Worked
from scheduler.routing.moves import check_move
from scheduler.routing.plan import Effort, Plan, plan_rounds
from scheduler.routing.problem import Works
from scheduler.routing.week_shares import longest_day_seconds
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_round,
    a_tanker,
    planned_jobs,
    rules_broken,
    table_of,
)

EFFORT = Effort(iterations=150)
SUNDAY = MONDAY - timedelta(days=1)
TUESDAY = MONDAY + timedelta(days=1)
ALWAYS = (7 * HOUR, 17 * HOUR)
SHUT_ON_MONDAY = (None, *[ALWAYS] * 6)


def before(days_ago: int, *, driving: float = 0, work: float = 0) -> Worked:
    on = MONDAY - timedelta(days=days_ago)
    return Worked(on=on, driving_seconds=round(driving * HOUR), work_seconds=round(work * HOUR))


def one_round(**tanker):
    problem = a_problem(
        a_job(1), a_job(2), tankers=(a_tanker(driver_hours=ASSIMILATED, **tanker),), days=7
    )
    return problem, a_round(problem, "job-1", "job-2", on=MONDAY + timedelta(days=6))


@pytest.mark.parametrize(
    ("rule", "past"),
    [
        ("driving-a-week", (Worked(on=MONDAY, driving_seconds=56 * HOUR),)),
        ("driving-a-fortnight", (before(7, driving=45), before(1, driving=45))),
        ("work-a-week", (Worked(on=TUESDAY, work_seconds=60 * HOUR),)),
        ("work-on-average", tuple(before(7 * n, work=51) for n in range(1, 17))),
        (None, (before(1, driving=56, work=60),)),
        (None, (before(8, driving=56), before(1, driving=33))),
        (None, tuple(before(7 * n, work=48) for n in range(1, 17))),
    ],
)
def test_what_was_driven_and_worked_before_counts_by_weeks_from_monday(rule, past):
    problem, round_ = one_round(worked_before=past)
    assert rules_broken(problem, round_) == (set() if rule is None else {rule})


def test_the_operators_own_limit_holds_without_a_regime():
    problem = a_problem(a_job(1), a_job(2), tankers=(a_tanker(max_week_work_seconds=HOUR),))
    assert rules_broken(problem, a_round(problem, "job-1", "job-2")) == {"work-a-week"}


def test_breaks_are_no_work():
    jobs = [a_job(n) for n in range(1, 7)]
    tanker = a_tanker(break_seconds=1800, capacity_litres=30_000, break_from_seconds=8 * HOUR,
                      break_until_seconds=11 * HOUR)  # fmt: skip
    problem = a_problem(*jobs, tankers=(tanker,))
    round_ = a_round(problem, *(job.id for job in jobs))
    exactly = replace(tanker, max_week_work_seconds=round_.duty_seconds - 1800)
    assert rules_broken(replace(problem, tankers=(exactly,)), round_) == set()
    less = replace(tanker, max_week_work_seconds=round_.duty_seconds - 1801)
    assert rules_broken(replace(problem, tankers=(less,)), round_) == {"work-a-week"}


def test_eleven_hours_lie_between_two_rounds():
    late = a_tanker(
        driver_hours=ASSIMILATED, shift_start_seconds=5 * HOUR, shift_end_seconds=21 * HOUR
    )
    problem = a_problem(
        a_job(1, day_from_seconds=18 * HOUR), a_job(2, day_until_seconds=6 * HOUR),
        tankers=(late,), days=2, works=(replace(WORKS, opens_seconds=0, closes_seconds=24 * HOUR),),
    )  # fmt: skip
    rounds = (a_round(problem, "job-1"), a_round(problem, "job-2", on=TUESDAY))
    assert "daily-rest" in rules_broken(problem, *rounds)
    assert late.latest_end_seconds == 18 * HOUR


@pytest.mark.parametrize("limit", [10, 16, 24])
def test_a_plan_keeps_the_week_and_says_what_is_left(limit):
    jobs = [a_job(n, latitude=52 + 0.004 * n, value_pence=9000) for n in range(1, 41)]
    tankers = (a_tanker(max_week_work_seconds=limit * HOUR),)
    problem = a_problem(*jobs, tankers=tankers, days=5)
    plan = plan_rounds(problem, effort=EFFORT)
    assert plan.checked
    worked = sum(round_.duty_seconds for round_ in plan.rounds)
    assert (limit - 3) * HOUR < worked <= limit * HOUR
    assert len(planned_jobs(plan)) + len(plan.left_out) == len(jobs)


def test_driving_already_done_leaves_jobs_to_the_other_tanker():
    spent = (Worked(on=MONDAY, driving_seconds=56 * HOUR),)
    tankers = (a_tanker(driver_hours=ASSIMILATED, worked_before=spent), a_tanker(id="two"))
    problem = a_problem(*(a_job(n) for n in range(1, 5)), tankers=tankers)
    plan = plan_rounds(problem, effort=EFFORT)
    assert {round_.tanker for round_ in plan.rounds} == {"two"}
    assert plan.checked


def test_a_move_that_breaks_the_week_is_told():
    tanker = a_tanker(max_week_work_seconds=3 * HOUR)
    problem = a_problem(*(a_job(n) for n in range(1, 5)), tankers=(tanker,), days=2)
    plan = Plan(rounds=(a_round(problem, "job-1", "job-2"),), left_out=(), missed_value_pence=0)
    check = check_move(
        problem, plan, table=table_of(problem), job="job-4", to_tanker="tess", on=TUESDAY
    )
    assert [breach.rule for breach in check.breaches] == ["work-a-week"]


def test_a_works_is_open_at_the_hours_of_the_weekday():
    short = (ALWAYS, (7 * HOUR, 8 * HOUR), *[ALWAYS] * 5)
    problem = a_problem(a_job(1), days=2, works=(replace(WORKS, hours=short),))
    rounds = [a_round(problem, "job-1", on=on) for on in (MONDAY, TUESDAY)]
    told = [check_plan(problem, table_of(problem), [each]) for each in rounds]
    assert [len(each) for each in told] == [0, 1]
    assert told[1][0].rule == "works-hours"


def test_each_day_is_planned_with_its_own_hours():
    far = Works(id="far works", latitude=52.3, longitude=-3.3)
    jobs = [a_job(n, latest=MONDAY if n < 4 else None, earliest=TUESDAY if n > 3 else None)
            for n in range(1, 7)]  # fmt: skip
    problem = a_problem(*jobs, days=2, works=(replace(WORKS, hours=SHUT_ON_MONDAY), far))
    plan = plan_rounds(problem, effort=EFFORT)
    tips = {round_.on: {s.id for s in round_.stops if s.kind == "tip"} for round_ in plan.rounds}
    assert tips == {MONDAY: {"far works"}, TUESDAY: {"works"}}
    assert plan.checked


def test_a_works_shut_on_that_weekday_is_named():
    problem = a_problem(a_job(1), works=(replace(WORKS, hours=SHUT_ON_MONDAY),))
    plan = plan_rounds(problem, effort=EFFORT)
    assert [(line.job, line.rule) for line in plan.left_out] == [("job-1", "works-closed")]


@pytest.mark.parametrize("hours", [(ALWAYS,), (*[ALWAYS] * 6, (9 * HOUR, 9 * HOUR + 60))])
def test_hours_that_cannot_be_are_refused(hours):
    with pytest.raises(BadTimes, match="works"):
        replace(WORKS, hours=hours)


def test_a_day_on_which_no_works_is_open_takes_no_share_of_the_week():
    tanker = a_tanker(max_week_work_seconds=8 * HOUR, shift_end_seconds=14 * HOUR)
    problem = a_problem(days=2, tankers=(tanker,), works=(replace(WORKS, hours=SHUT_ON_MONDAY),))
    assert longest_day_seconds(problem, tanker, TUESDAY) == tanker.longest_duty_seconds
    both = replace(problem, works=(WORKS,))
    assert longest_day_seconds(both, tanker, TUESDAY) == 4 * HOUR
