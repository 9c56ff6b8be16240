"""Timing a driving order: waits, the latest start, breaks where they cost least, the last tip."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.routing.driver_hours import ASSIMILATED, DriverHours
from scheduler.routing.problem import TankerStart, Works
from scheduler.routing.roads import Roads
from scheduler.routing.timing import Visit, planned_break, time_round
from scheduler.routing.tips import with_tips
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_round,
    a_tanker,
    a_window,
    random_jobs,
    rules_broken,
    table_of,
)


def test_the_tanker_leaves_as_late_as_the_day_allows():
    problem = a_problem(a_job(1, windows=(a_window(11, 12),)))
    round_ = a_round(problem, "job-1")
    first = round_.stops[1]
    assert first.arrive_seconds == first.start_seconds == 11 * HOUR


def test_a_tanker_already_out_does_not_wait_to_leave():
    start = TankerStart(tanker="tess", on=MONDAY, latitude=52, longitude=-3, at_seconds=8 * HOUR)
    problem = a_problem(a_job(1, windows=(a_window(11, 12),)), starts=(start,))
    round_ = a_round(problem, "job-1")
    assert round_.start_seconds == 8 * HOUR
    assert round_.stops[1].wait_seconds > 2 * HOUR


def test_the_last_tip_goes_to_the_works_that_gets_the_tanker_home_soonest():
    near = Works(id="near", latitude=52.01, longitude=-3.0, tipping_seconds=600)
    problem = a_problem(a_job(1), works=(WORKS, near))
    assert a_round(problem, "job-1").stops[-2].id == "near"


def test_a_works_that_is_shut_is_left_for_one_that_is_open():
    shut = replace(WORKS, closed_on=frozenset({MONDAY}))
    other = Works(id="other", latitude=52.2, longitude=-3.1)
    problem = a_problem(a_job(1), a_job(2), works=(shut, other))
    visits = [Visit("job", "job-1"), Visit("tip", "works"), Visit("job", "job-2")]
    round_ = time_round(problem, Roads(table_of(problem)), problem.tankers[0], MONDAY, visits)
    assert [stop.id for stop in round_.stops if stop.kind == "tip"] == ["other", "other"]


def test_a_tip_with_nothing_on_board_is_not_driven():
    problem = a_problem(a_job(1))
    visits = [Visit("tip", "works"), Visit("job", "job-1"), Visit("tip", "works")]
    round_ = time_round(problem, Roads(table_of(problem)), problem.tankers[0], MONDAY, visits)
    assert round_.tips == 1


def test_a_break_fills_a_wait_that_is_there_anyway():
    tanker = a_tanker(break_seconds=1800)
    jobs = (a_job(1, windows=(a_window(8, 9),)), a_job(2, windows=(a_window(14, 15),)))
    problem = a_problem(*jobs, tankers=(tanker,))
    with_break = a_round(problem, "job-1", "job-2")
    without = a_round(a_problem(*jobs), "job-1", "job-2")
    assert [stop.kind for stop in with_break.stops].count("break") == 1
    assert with_break.end_seconds == without.end_seconds


def test_a_short_morning_needs_no_break():
    problem = a_problem(a_job(1), tankers=(a_tanker(break_seconds=1800),))
    assert all(stop.kind != "break" for stop in a_round(problem, "job-1").stops)


def test_the_regime_forces_a_break_before_the_wheel_is_held_too_long():
    hours = DriverHours(name="t", driving_before_break_seconds=HOUR)
    problem = a_problem(
        *(a_job(number) for number in range(1, 5)), tankers=(a_tanker(driver_hours=hours),)
    )
    round_ = a_round(problem, "job-1", "job-2", "job-3", "job-4")
    assert [stop.kind for stop in round_.stops].count("break") >= 1
    assert rules_broken(problem, round_) == set()


def test_a_long_day_under_a_regime_keeps_a_break_free():
    assert planned_break(a_tanker(driver_hours=ASSIMILATED)) is not None
    assert planned_break(a_tanker(driver_hours=ASSIMILATED, shift_end_seconds=12 * HOUR)) is None
    assert planned_break(a_tanker()) is None


@given(st.integers(0, 10_000), st.integers(2, 7), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_timed_order_breaks_no_rule_of_driving_load_or_rest(seed, count, assimilated):
    """Lateness may be left to the checker; physics, loads and breaks never are."""
    hours = ASSIMILATED if assimilated else DriverHours(name="none")
    tanker = a_tanker(break_seconds=1800, driver_hours=hours, shift_end_seconds=20 * HOUR)
    jobs = random_jobs(seed, count)
    problem = a_problem(*jobs, tankers=(tanker,))
    broken = rules_broken(problem, a_round(problem, *(job.id for job in jobs)))
    assert broken <= {"window", "works-hours", "shift", "duty", "driver-duty", "break"}


@pytest.mark.parametrize("seed", range(6))
def test_tips_are_placed_at_the_least_cost_for_the_order(seed):
    """Every way to cut the order into trips is tried beside it."""
    jobs = [replace(job, windows=()) for job in random_jobs(seed, 6)]
    problem = a_problem(*jobs, tankers=(a_tanker(shift_end_seconds=24 * HOUR),))
    tanker, roads = problem.tankers[0], Roads(table_of(problem))
    ids = [job.id for job in jobs]

    def cost(visits):
        round_ = time_round(problem, roads, tanker, MONDAY, visits)
        full = any(stop.load_after_litres > tanker.capacity_litres for stop in round_.stops)
        return float("inf") if full else round_.costs.total

    orders = []
    for pattern in range(2 ** (len(ids) - 1)):
        visits = [Visit("job", ids[0])]
        for place, job in enumerate(ids[1:]):
            tip = [Visit("tip", "works")] if pattern >> place & 1 else []
            visits += [*tip, Visit("job", job)]
        orders.append(visits)
    best = min(cost(visits) for visits in orders)
    assert cost(with_tips(problem, roads, tanker, MONDAY, ids)) == best
