"""Planning sheets: every field read, every fault named, every line written."""

from __future__ import annotations

import copy
import json
from datetime import timedelta
from typing import Any

import pytest

from scheduler.routing import errors
from scheduler.routing.driver_hours import GB_DOMESTIC
from scheduler.routing.fleet import Worked
from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.sheets import read_problem, time_of_day, written_plan
from scheduler.routing.travel_times import GivenMatrix, StraightLine
from tests.scheduler.routing.problems import HOUR, MONDAY

SUNDAY = MONDAY - timedelta(days=1)
FULL = {
    "start": "2027-03-01",
    "days": 2,
    "travel": {"kind": "straight_line"},
    "bases": [{"id": "yard", "lat": 52.0, "lon": -3.0}],
    "works": [
        {"id": "tip", "lat": 52.05, "lon": -3.05, "opens": "07:00", "closes": "17:00",
         "tipping_minutes": 25, "charge_pence_per_visit": 100, "charge_pence_per_m3": 500,
         "closed_on": ["2027-03-02"], "hours": {"fri": ["08:00", "12:00"], "sun": None}},
    ],
    "tankers": [
        {"id": "t1", "base": "yard", "capacity_litres": 9000, "shift": ["06:30", "16:00"],
         "max_duty_minutes": 540, "overtime_minutes": 60, "overtime_pence_per_hour": 900,
         "pence_per_km": 60, "pence_per_hour": 2520, "fixed_pence_per_day": 4000,
         "off": ["2027-03-03"], "width_m": 2.5, "gross_tonnes": 18, "hose_m": 40,
         "break_minutes": 30, "break_between": ["11:30", "13:30"], "may_end_loaded": False,
         "driver_hours": "gb-domestic", "max_week_minutes": 2400,
         "worked_before": [{"date": "2027-02-28", "driving_minutes": 300, "work_minutes": 480}]},
    ],
    "jobs": [
        {"id": "j1", "lat": 52.1, "lon": -3.1, "litres": 4000, "minutes": 30,
         "earliest": "2027-03-01", "due": "2027-03-01", "latest": "2027-03-02",
         "windows": [["2027-03-01T09:00", "2027-03-01T12:00"]], "required": True,
         "value_pence": 5000, "late_pence_per_day": 200, "max_width_m": 2.6, "max_tonnes": 26,
         "hose_needed_m": 30},
        {"id": 7, "lat": 52.02, "lon": -3.02, "litres": 3000, "minutes": 45},
    ],
}  # fmt: skip


def changed(path, value):
    sheet: Any = copy.deepcopy(FULL)
    target = sheet
    for key in path[:-1]:
        target = target[key]
    target[path[-1]] = value
    return sheet


def test_a_full_sheet_is_read_field_by_field():
    problem, travel = read_problem(FULL)
    tanker, works, job = problem.tankers[0], problem.works[0], problem.jobs[0]
    assert isinstance(travel, StraightLine)
    assert (problem.start, problem.days, problem.jobs[1].id) == (MONDAY, 2, "7")
    assert (works.opens_seconds, works.tipping_seconds) == (7 * HOUR, 1500)
    assert works.closed_on == {MONDAY + timedelta(days=1)}
    assert works.hours[3:] == ((25200, 61200), (28800, 43200), (25200, 61200), None)
    assert tanker.max_week_work_seconds == 40 * HOUR
    assert tanker.worked_before == (Worked(on=SUNDAY, driving_seconds=18000, work_seconds=28800),)
    assert (tanker.shift_start_seconds, tanker.duty_seconds) == (6 * HOUR + 1800, 9 * HOUR)
    assert (tanker.break_seconds, tanker.driver_hours) == (1800, GB_DOMESTIC)
    assert (job.service_seconds, job.required, job.hose_needed_m) == (1800, True, 30)
    assert job.start_windows(MONDAY) == ((9 * HOUR, 12 * HOUR),)
    assert not problem.jobs[1].required


def test_only_ids_places_litres_minutes_and_capacity_are_needed():
    sheet = {
        "start": "2027-03-01",
        "bases": [{"id": "b", "lat": 52, "lon": -3}],
        "works": [{"id": "w", "lat": 52.1, "lon": -3}],
        "tankers": [{"id": "t", "base": "b", "capacity_litres": 9000}],
        "jobs": [{"id": "j", "lat": 52.1, "lon": -3.1, "litres": 100, "minutes": 0}],
    }
    problem, _ = read_problem(sheet)
    assert (problem.days, problem.tankers[0].max_duty_seconds) == (1, None)


def test_a_matrix_is_read():
    ids = ["yard", "tip", "j1", "7"]
    matrix = [[0 if a == b else 10_000 for b in ids] for a in ids]
    seconds = [[0 if a == b else 900 for b in ids] for a in ids]
    sheet = changed(
        ("travel",), {"kind": "matrix", "ids": ids, "metres": matrix, "seconds": seconds}
    )
    problem, travel = read_problem(sheet)
    assert isinstance(travel, GivenMatrix)
    plan = plan_rounds(problem, travel=travel, effort=Effort(iterations=50))
    assert plan.rounds[0].metres == 10_000 * (len(plan.rounds[0].job_ids) + plan.rounds[0].tips + 1)


@pytest.mark.parametrize(
    ("path", "value", "item", "field"),
    [
        (("start",), "1 March", "the sheet", "start"),
        (("start",), None, "the sheet", "start"),
        (("days",), 1.5, "the sheet", "days"),
        (("jobs",), {}, "the sheet", "jobs"),
        (("jobs", 0), 5, "jobs", "jobs"),
        (("jobs", 0, "litres"), "4000", "jobs j1", "litres"),
        (("jobs", 0, "litres"), True, "jobs j1", "litres"),
        (("jobs", 0, "litres"), 1e300, "jobs j1", "litres"),
        (("jobs", 0, "lat"), float("nan"), "jobs j1", "lat"),
        (("jobs", 0, "windows"), [["09:00"]], "jobs j1", "windows"),
        (("jobs", 0, "windows"), [["nine", "ten"]], "jobs j1", "windows"),
        (("jobs", 0, "required"), "yes", "jobs j1", "required"),
        (("jobs", 0, "colour"), "red", "jobs j1", "colour"),
        (("jobs", 1, "id"), None, "jobs None", "id"),
        (("jobs", 1, "id"), [1], "jobs [1]", "id"),
        (("works", 0, "opens"), "7 o'clock", "works tip", "opens"),
        (("works", 0, "closed_on"), "2027-03-01", "works tip", "closed_on"),
        (("tankers", 0, "shift"), ["07:00"], "tankers t1", "shift"),
        (("tankers", 0, "driver_hours"), "none at all", "tankers t1", "driver_hours"),
        (("travel",), [], "the sheet", "travel"),
        (("travel", "kind"), "roads", "travel", "kind"),
        (("extra",), 1, "the sheet", "extra"),
    ],
)
def test_a_fault_names_the_item_and_the_field(path, value, item, field):
    with pytest.raises(errors.BadSheet) as caught:
        read_problem(changed(path, value))
    assert (caught.value.item, caught.value.field) == (item, field)


@pytest.mark.parametrize("sheet", [[], "text", None, 3])
def test_a_sheet_must_be_an_object(sheet):
    with pytest.raises(errors.BadSheet):
        read_problem(sheet)


@pytest.mark.parametrize(
    ("path", "value", "error"),
    [
        (("tankers",), [], errors.NoTankers),
        (("works",), [], errors.NoWorks),
        (("tankers", 0, "base"), "nowhere", errors.UnknownId),
        (("jobs", 0, "id"), "yard", errors.DuplicateId),
        (("bases", 0, "lat"), 95, errors.BadCoordinates),
        (("days",), 0, errors.BadDates),
    ],
)
def test_a_problem_that_cannot_be_planned_keeps_its_own_name(path, value, error):
    with pytest.raises(error):
        read_problem(changed(path, value))


def test_a_plan_is_written_as_a_sheet_that_is_json():
    problem, travel = read_problem(FULL)
    plan = plan_rounds(problem, travel=travel, effort=Effort(iterations=50))
    sheet = json.loads(json.dumps(written_plan(plan)))
    assert set(sheet) == {"rounds", "left_out", "cost_pence", "warnings", "checked"}
    round_ = sheet["rounds"][0]
    assert (round_["tanker"], round_["date"]) == ("t1", "2027-03-01")
    assert round_["stops"][0]["kind"] == round_["stops"][-1]["kind"] == "base"
    assert {"kind", "id", "arrive", "start", "depart", "load_after_litres"} == set(
        round_["stops"][1]
    )
    assert [line["id"] for line in sheet["left_out"]] == ["7"]
    assert sheet["cost_pence"]["total"] == plan.costs.total
    assert sheet["checked"] is True


def test_a_time_of_day_is_written_to_the_second():
    assert time_of_day(7 * HOUR + 65) == "07:01:05"
