"""What cannot be planned is refused by name, with the item and the field."""

from dataclasses import replace
from datetime import datetime, time, timedelta

import pytest

from scheduler.routing import errors
from scheduler.routing.driver_hours import DriverHours
from scheduler.routing.problem import Base, Job, Problem, TankerStart, Window, Works
from tests.scheduler.routing.problems import (
    BASE,
    MONDAY,
    WORKS,
    a_job,
    a_problem,
    a_tanker,
    a_window,
)


def test_a_problem_without_tankers_is_refused():
    with pytest.raises(errors.NoTankers):
        a_problem(tankers=())


def test_a_problem_without_works_is_refused():
    with pytest.raises(errors.NoWorks):
        a_problem(works=())


def test_no_works_are_needed_when_tankers_may_stand_loaded():
    assert a_problem(works=(), tankers=(a_tanker(may_end_loaded=True),)).works == ()


def test_a_horizon_that_is_over_is_refused():
    with pytest.raises(errors.HorizonInThePast):
        a_problem(today=MONDAY + timedelta(days=1))


def test_a_horizon_that_ends_today_is_planned():
    assert a_problem(today=MONDAY).days == 1


def test_days_gone_by_are_not_planned():
    tuesday = MONDAY + timedelta(days=1)
    assert a_problem(days=3, today=tuesday).dates == (tuesday, tuesday + timedelta(days=1))


@pytest.mark.parametrize("days", [0, -1, 1000])
def test_a_horizon_of_no_days_or_years_is_refused(days):
    with pytest.raises(errors.BadDates):
        a_problem(days=days)


def test_the_same_id_twice_is_refused_even_between_kinds():
    with pytest.raises(errors.DuplicateId) as caught:
        a_problem(a_job(id="yard"))
    assert caught.value.item == "yard"


@pytest.mark.parametrize(
    "fields",
    [
        {"tankers": (a_tanker(base="nowhere"),)},
        {"jobs": (a_job(locked_tanker="nobody"),)},
        {
            "starts": (
                TankerStart(
                    tanker="nobody", on=MONDAY, latitude=52, longitude=-3, at_seconds=36000
                ),
            )
        },
    ],
)
def test_a_reference_to_nothing_is_refused(fields):
    with pytest.raises(errors.UnknownId):
        replace(a_problem(), **fields)


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(91, 0), (-3, 181), (float("nan"), 1), (0, 0), (52, float("inf"))],
)
def test_a_base_off_the_globe_is_refused(latitude, longitude):
    with pytest.raises(errors.BadCoordinates):
        Base(id="yard", latitude=latitude, longitude=longitude)


@pytest.mark.parametrize(
    "field",
    ["litres", "service_seconds", "value_pence", "late_pence_per_day", "max_width_m"],
)
def test_a_negative_quantity_of_a_job_names_its_field(field):
    with pytest.raises(errors.BadQuantity) as caught:
        a_job(**{field: -1})
    assert (caught.value.item, caught.value.field) == ("job-1", field)


def test_a_negative_day_cost_is_refused():
    with pytest.raises(errors.BadQuantity):
        a_job(day_cost_pence={MONDAY: -5})


def test_a_job_of_no_minutes_is_allowed():
    assert a_job(service_seconds=0).service_seconds == 0


@pytest.mark.parametrize("field", ["capacity_litres", "max_duty_seconds", "pence_per_km"])
def test_an_impossible_tanker_names_its_field(field):
    with pytest.raises(errors.BadQuantity) as caught:
        a_tanker(**{field: -1})
    assert caught.value.field == field


def test_a_shift_that_ends_before_it_starts_is_refused():
    with pytest.raises(errors.BadTimes):
        a_tanker(shift_start_seconds=16 * 3600, shift_end_seconds=7 * 3600)


def test_a_break_that_ends_before_it_starts_is_refused():
    with pytest.raises(errors.BadTimes):
        a_tanker(break_seconds=1800, break_from_seconds=14 * 3600, break_until_seconds=12 * 3600)


def test_a_works_that_closes_before_a_tip_is_over_is_refused():
    with pytest.raises(errors.BadTimes):
        Works(id="w", latitude=52, longitude=-3, opens_seconds=3600, closes_seconds=4000)


def test_a_job_whose_latest_day_is_before_its_earliest_is_refused():
    with pytest.raises(errors.BadDates):
        a_job(earliest=MONDAY, latest=MONDAY - timedelta(days=1))


def test_daily_hours_that_run_backwards_are_refused():
    with pytest.raises(errors.BadTimes):
        a_job(day_from_seconds=7200, day_until_seconds=3600)


def test_a_window_over_midnight_is_refused():
    midnight = datetime.combine(MONDAY, time())
    with pytest.raises(errors.BadTimes):
        Window(start=midnight - timedelta(hours=2), end=midnight + timedelta(hours=2))


def test_driver_hours_of_zero_are_refused():
    with pytest.raises(errors.BadQuantity):
        DriverHours(name="none at all", max_driving_seconds=0)


def test_an_unknown_id_is_named_when_asked_for():
    problem: Problem = a_problem()
    for ask in (problem.job, problem.tanker, problem.works_by_id):
        with pytest.raises(errors.UnknownId) as caught:
            ask("nothing")
        assert caught.value.item == "nothing"


def test_a_job_may_start_only_inside_its_windows_and_daily_hours():
    job: Job = a_job(windows=(a_window(8, 12), a_window(14, 16)), day_from_seconds=9 * 3600)
    assert job.start_windows(MONDAY) == ((9 * 3600, 12 * 3600), (14 * 3600, 16 * 3600))
    assert job.start_windows(MONDAY + timedelta(days=1)) == ()


def test_a_day_costs_lateness_earliness_and_risk():
    job = a_job(due=MONDAY, late_pence_per_day=200, early_pence_per_day=10)
    job = replace(job, day_cost_pence={MONDAY: 7})
    days = [MONDAY + timedelta(days=offset) for offset in (-2, 0, 3)]
    assert [job.day_pence(day) for day in days] == [20, 7, 600]


def test_base_and_works_are_what_they_say():
    problem = a_problem()
    assert problem.base_of(problem.tankers[0]) is BASE
    assert problem.works_open_on(MONDAY) == (WORKS,)
