"""A job that is in no round says why, in words a planner can act on."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.problem import TankerStart
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_tanker,
    a_window,
    planned_jobs,
)

QUICK = Effort(iterations=300)


def the_line(problem, job, effort=QUICK):
    plan = plan_rounds(problem, effort=effort)
    return next(line for line in plan.left_out if line.job == job)


@pytest.mark.parametrize(
    ("rule", "words", "job"),
    [
        ("too-large", "9,500 L", a_job(litres=9500)),
        ("lane-width", "2.5 m wide", a_job(max_width_m=2.2)),
        ("weight", "18 t", a_job(max_tonnes=7.5)),
        ("hose", "30 m of hose", a_job(hose_needed_m=50)),
        ("hold", "saturated", a_job(hold_reason="the ground is saturated")),
        ("position", "0, 0", a_job(latitude=0, longitude=0)),
        ("position", "swapped", a_job(latitude=-3.0, longitude=52.1)),
        ("too-early", "2027-03-02", a_job(earliest=MONDAY + timedelta(days=1))),
        ("too-late", "2027-02-28", a_job(latest=MONDAY - timedelta(days=1))),
        ("window", "07:00 to 16:30", a_job(windows=(a_window(20, 22),))),
        ("locked-day", "2027-03-05", a_job(locked_on=MONDAY + timedelta(days=4))),
        ("too-far", "alone", a_job(latitude=54.5)),
        ("tanker-waste", "may not carry", a_job(waste="chemical")),
    ],
)
def test_a_job_that_cannot_be_done_says_why(rule, words, job):
    tanker = a_tanker(width_m=2.5, gross_tonnes=18, hose_m=30, wastes=frozenset({""}))
    line = the_line(a_problem(job, a_job(2), tankers=(tanker,)), job.id)
    assert line.rule == rule
    assert words in line.why


def test_an_optional_job_that_costs_more_than_waiting_says_so():
    line = the_line(a_problem(a_job(required=False, value_pence=100)), "job-1")
    assert line.rule == "not-worth-it"
    assert "1.00" in line.why


def test_an_overfull_day_names_who_does_not_fit():
    jobs = [a_job(number, service_seconds=2 * HOUR) for number in range(1, 8)]
    plan = plan_rounds(a_problem(*jobs), effort=QUICK)
    assert {line.rule for line in plan.left_out} == {"full"}
    assert len(planned_jobs(plan)) >= 3


def test_a_promise_is_kept_before_a_job_that_is_merely_required():
    jobs = [a_job(number, service_seconds=3 * HOUR) for number in range(1, 5)]
    promised = replace(jobs[3], windows=(a_window(8, 14),))
    plan = plan_rounds(a_problem(*jobs[:3], promised), effort=QUICK)
    assert "job-4" in planned_jobs(plan)


def test_a_closed_works_leaves_the_day_empty():
    problem = a_problem(a_job(), works=(replace(WORKS, closed_on=frozenset({MONDAY})),))
    assert the_line(problem, "job-1").rule == "works-closed"


def test_a_day_off_is_named():
    problem = a_problem(a_job(), tankers=(a_tanker(off=frozenset({MONDAY})),))
    assert the_line(problem, "job-1").rule == "tanker-off"


def test_a_tanker_whose_shift_is_over_takes_no_job():
    start = TankerStart(
        tanker="tess", on=MONDAY, latitude=52.0, longitude=-3.0, at_seconds=20 * HOUR
    )
    assert the_line(a_problem(a_job(), starts=(start,)), "job-1").rule == "too-far"
