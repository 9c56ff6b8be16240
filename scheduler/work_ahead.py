"""Work falling due week by week against what the tankers can carry."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Q

from scheduler.models import Job
from scheduler.round_plans import TANKER_WORK, fleet_of, seconds_of
from servicing.models import Forecast

if TYPE_CHECKING:
    from customers.models import Organisation
    from scheduler.models import Tanker
    from scheduler.round_plans import Fleet

# Loads a tanker brings home in a day. Common practice, no source: one before, one after noon.
LOADS_A_DAY = 2
# Driving to the next job, and a tip with the drive there. Common practice, no source.
DRIVE_MINUTES = 20
EXPECTED_MINUTES = 40
TIP_MINUTES = 50
SATURDAY = 5


@dataclass(frozen=True, kw_only=True)
class Week:
    """Jobs and litres due in the week beginning on `monday`; the first holds what is overdue."""

    monday: dt.date
    jobs: int
    expected: int
    litres: int
    minutes: int
    capacity_litres: int
    shift_minutes: int
    loads: float

    @property
    def hours(self) -> float:
        """About how long all of it takes: on site, driving, tipping."""
        driving = (self.jobs + self.expected) * DRIVE_MINUTES
        return (self.minutes + driving + self.loads * TIP_MINUTES) / 60

    @property
    def hours_there_are(self) -> float:
        """Shifts of the tankers in use, less their breaks."""
        return self.shift_minutes / 60

    @property
    def over(self) -> bool:
        """More than can be carried or done."""
        return self.litres > self.capacity_litres or self.hours > self.hours_there_are


def weeks_ahead(*, organisation: Organisation, today: dt.date, count: int = 52) -> list[Week]:
    """Open tanker work by the week it is due, with systems forecast due that have no job yet.

    For an operator these include the systems of installers whose emptyings it drives: as sums,
    nothing else of them is shown.
    """
    first = today - dt.timedelta(days=today.weekday())
    until = first + dt.timedelta(weeks=count)
    sums: defaultdict[dt.date, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    jobs = Job.objects.for_operator(organisation).open().filter(kind__in=TANKER_WORK)
    for due_on, litres, minutes in jobs.filter(due_on__lt=until).values_list(
        "due_on", "litres", "minutes"
    ):
        _add(sums[_monday(due_on, first)], (1, 0, litres, minutes))
    for expected_on, volume in _forecast_without_job(organisation, until):
        _add(sums[_monday(expected_on, first)], (0, 1, round(volume or 0), EXPECTED_MINUTES))
    fleet = fleet_of(organisation)
    mondays = [first + dt.timedelta(weeks=number) for number in range(count)]
    largest = max((tanker.capacity_litres for tanker in fleet.tankers), default=1)
    return [
        Week(
            monday=monday,
            jobs=sums[monday][0],
            expected=sums[monday][1],
            litres=sums[monday][2],
            minutes=sums[monday][3],
            loads=sums[monday][2] / largest,
            capacity_litres=LOADS_A_DAY * sum(one.capacity_litres for one in days_out),
            shift_minutes=sum(_shift_minutes(one) for one in days_out),
        )
        for monday in mondays
        for days_out in [_days_out(fleet, monday, today)]
    ]


def _add(sums: list[int], more: tuple[int, int, int, int]) -> None:
    for place, amount in enumerate(more):
        sums[place] += amount


def _monday(day: dt.date, first: dt.date) -> dt.date:
    return max(day - dt.timedelta(days=day.weekday()), first)


def _forecast_without_job(
    organisation: Organisation, until: dt.date
) -> list[tuple[dt.date, float | None]]:
    """Systems in use that fall due before `until` and have no open emptying yet."""
    waiting = Job.objects.open().filter(system=OuterRef("system"), kind=Job.Kind.EMPTYING)
    due = Forecast.objects.filter(
        Q(organisation=organisation) | Q(organisation__tanker_operator=organisation),
        due_on__lt=until,
        system__retired_on__isnull=True,
    )
    return [
        (due_on, litres)
        for due_on, litres in due.exclude(Exists(waiting)).values_list(
            "due_on", "working_volume_litres"
        )
        if due_on is not None
    ]


def _days_out(fleet: Fleet, monday: dt.date, today: dt.date) -> list[Tanker]:
    """Each tanker in use once for every day from Monday to Friday it can go out, from today on."""
    days = [monday + dt.timedelta(days=number) for number in range(SATURDAY)]
    return [
        tanker
        for tanker in fleet.tankers
        for day in days
        if day >= today and day not in {off.day for off in tanker.days_off.all()}
    ]


def _shift_minutes(tanker: Tanker) -> int:
    seconds = seconds_of(tanker.shift_ends) - seconds_of(tanker.shift_starts)
    return seconds // 60 - tanker.break_minutes
