"""A planning problem from a sheet (JSON) and a plan back into one, without the database.

The fields are those of the README's table. What is wrong is a `BadSheet` that names the item
and the field; faults of the problem itself keep their own names.
"""

from collections.abc import Callable, Mapping
from datetime import date, datetime
from typing import Any, TypeVar

from scheduler.routing.driver_hours import REGIMES, UNLIMITED, DriverHours
from scheduler.routing.errors import BadSheet, BadTimes
from scheduler.routing.fleet import Worked
from scheduler.routing.problem import Base, Job, Problem, Tanker, Window, Works
from scheduler.routing.rounds import Plan, Stop
from scheduler.routing.sheet_fields import Row, rows_of
from scheduler.routing.travel_times import GivenMatrix, StraightLine, TravelTimes

T = TypeVar("T")
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def read_problem(sheet: object, *, today: date | None = None) -> tuple[Problem, TravelTimes]:
    """The problem and the travel times of a sheet already parsed from JSON.

    Raises:
        BadSheet: a field is missing, of the wrong kind, unknown or out of range.
        ProblemError: the problem as a whole cannot be planned.
    """
    if not isinstance(sheet, Mapping):
        raise BadSheet("The sheet must be one JSON object.")
    top = Row("the sheet", sheet)
    problem = Problem(
        start=top.day("start"),
        days=top.whole("days", 1),
        bases=tuple(_base(row) for row in rows_of(top, "bases")),
        works=tuple(_works(row) for row in rows_of(top, "works")),
        tankers=tuple(_tanker(row) for row in rows_of(top, "tankers")),
        jobs=tuple(_job(row) for row in rows_of(top, "jobs")),
        today=today,
    )
    travel = _travel(top)
    top.require_all_read()
    return problem, travel


def _travel(top: Row) -> TravelTimes:
    row = top.row("travel")
    if row is None:
        return StraightLine()
    kind = row.text("kind", "straight_line")
    if kind == "straight_line":
        row.require_all_read()
        return StraightLine()
    if kind != "matrix":
        raise row.wrong("kind", "must be “straight_line” or “matrix”")
    ids = tuple(str(each) for each in row.sequence("ids"))
    travel = GivenMatrix(ids=ids, metres=row.sequence("metres"), seconds=row.sequence("seconds"))
    row.require_all_read()
    return travel


def _base(row: Row) -> Base:
    base = Base(id=row.text("id"), latitude=row.number("lat"), longitude=row.number("lon"))
    row.require_all_read()
    return base


def _works(row: Row) -> Works:
    works = Works(
        id=row.text("id"),
        latitude=row.number("lat"),
        longitude=row.number("lon"),
        opens_seconds=row.clock("opens", 0),
        closes_seconds=row.clock("closes", 24 * 3600),
        tipping_seconds=row.minutes("tipping_minutes", 20),
        charge_pence_per_visit=row.whole("charge_pence_per_visit", 0),
        charge_pence_per_m3=row.whole("charge_pence_per_m3", 0),
        closed_on=row.days("closed_on"),
        accepts=row.words("accepts"),
        hours=_works_hours(row),
    )
    row.require_all_read()
    return works


def _works_hours(row: Row) -> tuple[tuple[int, int] | None, ...]:
    """Hours by weekday; days not named keep `opens` and `closes`, null is a day shut."""
    named = row.row("hours")
    if named is None:
        return ()
    usual = (row.clock("opens", 0), row.clock("closes", 24 * 3600))
    hours = tuple(
        named.clock_pair(day, usual) if named.values.get(day, usual) is not None else None
        for day in WEEKDAYS
    )
    named.read.update(WEEKDAYS)
    named.name = row.name
    named.require_all_read()
    return hours


def _tanker(row: Row) -> Tanker:
    shift = row.clock_pair("shift", (7 * 3600, 16 * 3600 + 1800))
    break_between = row.clock_pair("break_between", (11 * 3600 + 1800, 13 * 3600 + 1800))
    tanker = Tanker(
        id=row.text("id"),
        base=row.text("base"),
        capacity_litres=row.whole("capacity_litres"),
        shift_start_seconds=shift[0],
        shift_end_seconds=shift[1],
        max_duty_seconds=row.optional_minutes("max_duty_minutes"),
        overtime_seconds=row.minutes("overtime_minutes", 0),
        overtime_pence_per_hour=row.whole("overtime_pence_per_hour", 0),
        pence_per_km=row.whole("pence_per_km", 0),
        pence_per_hour=row.whole("pence_per_hour", 0),
        fixed_pence_per_day=row.whole("fixed_pence_per_day", 0),
        off=row.days("off"),
        width_m=row.optional_number("width_m"),
        height_m=row.optional_number("height_m"),
        gross_tonnes=row.optional_number("gross_tonnes"),
        hose_m=row.optional_number("hose_m"),
        break_seconds=row.minutes("break_minutes", 0),
        break_from_seconds=break_between[0],
        break_until_seconds=break_between[1],
        driver_hours=_driver_hours(row),
        may_end_loaded=row.yes("may_end_loaded"),
        max_week_work_seconds=row.optional_minutes("max_week_minutes"),
        worked_before=tuple(_worked(each) for each in rows_of(row, "worked_before")),
    )
    row.require_all_read()
    return tanker


def _worked(row: Row) -> Worked:
    worked = Worked(
        on=row.day("date"),
        driving_seconds=row.minutes("driving_minutes", 0),
        work_seconds=row.minutes("work_minutes", 0),
    )
    row.require_all_read()
    return worked


def _driver_hours(row: Row) -> DriverHours:
    name = row.text("driver_hours", UNLIMITED.name)
    if name not in REGIMES:
        raise row.wrong("driver_hours", f"must be one of {', '.join(sorted(REGIMES))}")
    return REGIMES[name]


def _job(row: Row) -> Job:
    job = Job(
        id=row.text("id"),
        latitude=row.number("lat"),
        longitude=row.number("lon"),
        litres=row.whole("litres"),
        service_seconds=row.minutes("minutes"),
        earliest=row.optional_day("earliest"),
        due=row.optional_day("due"),
        latest=row.optional_day("latest"),
        windows=tuple(_window(row, each) for each in row.sequence("windows", ())),
        required=row.yes("required"),
        value_pence=row.whole("value_pence", 0),
        late_pence_per_day=row.whole("late_pence_per_day", 0),
        max_width_m=row.optional_number("max_width_m"),
        max_height_m=row.optional_number("max_height_m"),
        max_tonnes=row.optional_number("max_tonnes"),
        hose_needed_m=row.optional_number("hose_needed_m"),
        waste=row.text("waste", ""),
        may_split=row.yes("may_split"),
    )
    row.require_all_read()
    return job


def _window(row: Row, pair: object) -> Window:
    def moment(text: object) -> datetime:
        # A day alone would be read as its midnight, at which nobody is promised anything.
        if "T" not in str(text):
            raise ValueError
        return datetime.fromisoformat(str(text))

    if not isinstance(pair, list | tuple) or len(pair) != 2:
        raise row.wrong("windows", "must be a list of [start, end] pairs")
    start, end = (_tried(row, "windows", moment, text) for text in pair)
    try:
        return Window(start=start, end=end)
    except BadTimes as fault:
        raise BadTimes(fault.message, item=row.name, field="windows") from fault


def _tried(row: Row, field: str, read: Callable[[object], T], text: object) -> T:
    try:
        return read(text)
    except ValueError as error:
        raise row.wrong(field, f"“{text}” is not a local time like 2027-03-02T09:00") from error


def written_plan(plan: Plan) -> dict[str, Any]:
    """The plan as a sheet; every time of day is HH:MM:SS, local."""
    costs = plan.costs
    return {
        "rounds": [
            {
                "tanker": round_.tanker,
                "date": round_.on.isoformat(),
                "start": time_of_day(round_.start_seconds),
                "end": time_of_day(round_.end_seconds),
                "metres": round_.metres,
                "stops": [_written_stop(stop) for stop in round_.stops],
            }
            for round_ in plan.rounds
        ],
        "left_out": [{"id": line.job, "why": line.why} for line in plan.left_out],
        "cost_pence": {
            "distance": costs.distance,
            "time": costs.time,
            "overtime": costs.overtime,
            "fixed": costs.fixed,
            "tipping": costs.tipping,
            "late": costs.late,
            "total": costs.total,
        },
        "warnings": list(plan.warnings),
        "checked": plan.checked,
    }


def _written_stop(stop: Stop) -> dict[str, Any]:
    return {
        "kind": stop.kind,
        "id": stop.id,
        "arrive": time_of_day(stop.arrive_seconds),
        "start": time_of_day(stop.start_seconds),
        "depart": time_of_day(stop.depart_seconds),
        "load_after_litres": stop.load_after_litres,
    }


def time_of_day(seconds: int) -> str:
    """Seconds after midnight as HH:MM:SS; hours run past 24 on a shift over midnight."""
    return f"{seconds // 3600:02d}:{seconds % 3600 // 60:02d}:{seconds % 60:02d}"
