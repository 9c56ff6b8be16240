"""The independent checker: a sound round passes; each rule broken once is caught."""

from dataclasses import replace
from datetime import timedelta

import pytest

from scheduler.routing.driver_hours import ASSIMILATED, DriverHours
from scheduler.routing.problem import TankerStart
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_round,
    a_tanker,
    a_window,
    rules_broken,
    with_stop,
)

JOBS = (a_job(1), a_job(2), a_job(3), a_job(4))
PROBLEM = a_problem(*JOBS)
ROUND = a_round(PROBLEM, "job-1", "job-2", "job-3", "job-4")
TIP = next(number for number, stop in enumerate(ROUND.stops) if stop.kind == "tip")


def test_a_sound_round_passes():
    assert rules_broken(PROBLEM, ROUND) == set()
    assert [stop.kind for stop in ROUND.stops].count("tip") == 2


def changed_tanker(**fields):
    return replace(PROBLEM, tankers=(a_tanker(**fields),))


def changed_job(**fields):
    return replace(PROBLEM, jobs=(a_job(1, **fields), *JOBS[1:]))


def changed_works(**fields):
    return replace(PROBLEM, works=(replace(WORKS, **fields),))


@pytest.mark.parametrize(
    ("rule", "problem"),
    [
        ("tanker-off", changed_tanker(off=frozenset({MONDAY}))),
        ("outside-horizon", replace(PROBLEM, start=MONDAY + timedelta(days=1))),
        ("capacity", changed_tanker(capacity_litres=5000)),
        ("shift", changed_tanker(shift_end_seconds=ROUND.end_seconds - 60)),
        ("shift", changed_tanker(shift_start_seconds=ROUND.start_seconds + 60)),
        ("duty", changed_tanker(max_duty_seconds=2 * HOUR)),
        ("lane-width", replace(changed_job(max_width_m=2.4), tankers=(a_tanker(width_m=2.5),))),
        ("height", replace(changed_job(max_height_m=3.0), tankers=(a_tanker(height_m=3.5),))),
        ("weight", replace(changed_job(max_tonnes=7.5), tankers=(a_tanker(gross_tonnes=18),))),
        ("hose", replace(changed_job(hose_needed_m=60), tankers=(a_tanker(hose_m=40),))),
        ("tanker-waste", changed_tanker(wastes=frozenset({"cesspool"}))),
        ("waste", changed_works(accepts=frozenset({"cesspool"}))),
        ("litres-a-day", changed_tanker(max_litres_per_day=11_000)),
        ("jobs-a-day", changed_tanker(max_jobs_per_day=3)),
        ("hold", changed_job(hold_reason="the ground is saturated")),
        ("too-early", changed_job(earliest=MONDAY + timedelta(days=1))),
        ("too-late", changed_job(latest=MONDAY - timedelta(days=1))),
        ("locked-day", changed_job(locked_on=MONDAY + timedelta(days=1))),
        ("window", changed_job(windows=(a_window(15, 16),))),
        ("daily-hours", changed_job(day_from_seconds=15 * HOUR)),
        ("service-time", changed_job(service_seconds=2 * HOUR)),
        ("works-closed", changed_works(closed_on=frozenset({MONDAY}))),
        ("works-hours", changed_works(opens_seconds=15 * HOUR)),
        ("works-hours", changed_works(closes_seconds=8 * HOUR)),
        ("tipping-time", changed_works(queue_seconds=600)),
        ("break", changed_tanker(break_seconds=1800, break_from_seconds=8 * HOUR,
                                 break_until_seconds=8 * HOUR + 60)),
        ("driving-a-day", changed_tanker(driver_hours=DriverHours(
            name="t", max_driving_seconds=HOUR))),
        ("driver-duty", changed_tanker(driver_hours=DriverHours(
            name="t", max_duty_seconds=HOUR))),
        ("driving-break", changed_tanker(driver_hours=DriverHours(
            name="t", driving_before_break_seconds=HOUR))),
        ("work-break", changed_tanker(driver_hours=DriverHours(
            name="t", work_before_break_seconds=HOUR))),
    ],
)  # fmt: skip
def test_each_rule_of_the_facts_is_looked_at(rule, problem):
    assert rule in rules_broken(problem, ROUND)


def test_a_job_tied_to_another_tanker_is_caught():
    tankers = (a_tanker(), a_tanker(id="other"))
    problem = a_problem(a_job(1, locked_tanker="other"), *JOBS[1:], tankers=tankers)
    assert rules_broken(problem, ROUND) == {"locked-tanker"}


@pytest.mark.parametrize(
    ("rule", "round_"),
    [
        ("driving-time", with_stop(ROUND, 1, arrive_seconds=ROUND.stops[1].arrive_seconds - 120)),
        ("leg", with_stop(ROUND, 1, metres=1)),
        ("leg", with_stop(ROUND, 1, drive_seconds=1)),
        ("clock", with_stop(ROUND, 1, start_seconds=ROUND.stops[1].arrive_seconds - 1)),
        ("service-time", with_stop(ROUND, 1, depart_seconds=ROUND.stops[1].start_seconds + 60)),
        ("load-shown", with_stop(ROUND, 1, load_after_litres=1)),
        ("tipping-time", with_stop(ROUND, TIP, depart_seconds=ROUND.stops[TIP].start_seconds)),
        ("ends-loaded", replace(ROUND, stops=(*ROUND.stops[:-2], ROUND.stops[-1]))),
        ("base", replace(ROUND, stops=ROUND.stops[:-1])),
        ("base", replace(ROUND, stops=ROUND.stops[1:])),
    ],
)  # fmt: skip
def test_each_change_of_the_stops_is_caught(rule, round_):
    assert rule in rules_broken(PROBLEM, round_)


def test_a_job_planned_twice_is_caught():
    tomorrow = replace(ROUND, on=MONDAY + timedelta(days=1))
    problem = replace(PROBLEM, days=2)
    assert rules_broken(problem, ROUND, tomorrow) == {"job-twice"}


def test_a_tanker_with_two_rounds_on_a_day_is_caught():
    assert "tanker-twice" in rules_broken(PROBLEM, ROUND, a_round(PROBLEM, "job-1"))


def test_a_tanker_that_may_stand_loaded_may_come_home_so():
    problem = changed_tanker(may_end_loaded=True)
    assert rules_broken(problem, a_round(problem, "job-1")) == set()


def a_start(**fields):
    given = {"tanker": "tess", "on": MONDAY, "latitude": 52.1, "longitude": -3.1}
    return TankerStart(**{**given, "at_seconds": 12 * HOUR, **fields})


@pytest.mark.parametrize(
    ("rule", "start"),
    [
        ("base", a_start()),
        ("shift", a_start(at_seconds=13 * HOUR)),
        ("capacity", a_start(load_litres=7000)),
        ("driver-duty", a_start(on_duty_since_seconds=HOUR)),
        ("driving-a-day", a_start(driven_seconds=9 * HOUR)),
        ("driving-break", a_start(driven_since_break_seconds=4 * HOUR + 1800)),
        ("litres-a-day", a_start(litres_today=9000)),
        ("jobs-a-day", a_start(jobs_today=2)),
        ("duty", a_start(on_duty_since_seconds=0)),
    ],
)
def test_what_a_tanker_has_already_done_today_counts(rule, start):
    hours = replace(ASSIMILATED, max_duty_seconds=11 * HOUR, work_before_break_seconds=None)
    tanker = a_tanker(driver_hours=hours, max_litres_per_day=9000, max_jobs_per_day=2)
    problem = a_problem(a_job(1), tankers=(tanker,), starts=(a_start(),))
    round_ = a_round(problem, "job-1")
    assert rules_broken(problem, round_) == set()
    if rule == "base":
        round_ = with_stop(round_, 0, id="yard", drive_seconds=0)
    assert rule in rules_broken(replace(problem, starts=(start,)), round_)


def test_a_break_of_fifteen_then_thirty_minutes_is_a_full_one():
    """Regulation (EC) 561/2006 article 7: 45 minutes may be taken as 15 followed by 30."""
    hours = DriverHours(name="t", driving_before_break_seconds=ROUND.drive_seconds * 2 // 3)
    problem = a_problem(*JOBS, tankers=(a_tanker(driver_hours=hours),))
    assert rules_broken(problem, ROUND) == {"driving-break"}
    split = rest_after(rest_after(ROUND, 1, 900), 5, 1800)
    wrong_way_round = rest_after(rest_after(ROUND, 1, 1800), 5, 900)
    assert rules_broken(problem, split) == set()
    assert rules_broken(problem, wrong_way_round) == {"driving-break"}
    assert rules_broken(problem, rest_after(ROUND, 4, 2700)) == set()


def rest_after(round_, number, seconds):
    """The round with a rest after one of its stops, everything later moved on."""
    stop = round_.stops[number]
    rest = replace(
        stop,
        kind="break",
        arrive_seconds=stop.depart_seconds,
        start_seconds=stop.depart_seconds,
        depart_seconds=stop.depart_seconds + seconds,
        metres=0,
        drive_seconds=0,
    )
    later = [
        replace(
            each,
            arrive_seconds=each.arrive_seconds + seconds,
            start_seconds=each.start_seconds + seconds,
            depart_seconds=each.depart_seconds + seconds,
        )
        for each in round_.stops[number + 1 :]
    ]
    return replace(round_, stops=(*round_.stops[: number + 1], rest, *later))
