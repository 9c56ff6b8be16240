"""Work falling due week by week against what the tankers can carry."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import OuterRef, Q, Subquery

from scheduler.emptying_repeats import falls_due_again
from scheduler.emptying_sizes import emptying_minutes, litres_of
from scheduler.models import Job
from scheduler.round_plans import TANKER_WORK, fleet_of, idle_days, seconds_of
from servicing.models import Forecast

if TYPE_CHECKING:
    from collections.abc import Iterator

    from customers.models import Organisation
    from scheduler.models import Tanker
    from scheduler.models.jobs import JobQuerySet
    from scheduler.round_plans import Fleet

# Loads a tanker brings home in a day. Common practice, no source: one before, one after noon.
LOADS_A_DAY = 2
# Driving to the next job, and a tip with the drive there. Common practice, no source.
DRIVE_MINUTES = 20
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
    """Open tanker work by the week it is due, and the emptyings forecast that have no job yet.

    A system that fills within the span is counted each time: after one emptying the next falls
    due when its interval has run again. For an operator these include the systems of installers
    whose emptyings it drives: as sums, nothing else of them is shown. Who has no tanker in use
    sees the work at its own systems, whoever drives it.
    """
    first = _first_monday(today)
    until = first + dt.timedelta(weeks=count)
    fleet = fleet_of(organisation)
    sums: defaultdict[dt.date, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    jobs = _jobs(organisation, fleet).open().filter(kind__in=TANKER_WORK)
    for due_on, litres, minutes in jobs.filter(due_on__lt=until).values_list(
        "due_on", "litres", "minutes"
    ):
        _add(sums[_monday(due_on, first)], (1, 0, litres, minutes))
    for expected_on, litres in emptyings_expected(organisation, today, until):
        minutes = emptying_minutes(litres)
        _add(sums[_monday(expected_on, first)], (0, 1, litres, minutes))
    idle = idle_days(organisation, first, 7 * count)
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
        for days_out in [_days_out(fleet, monday, today, idle)]
    ]


def _first_monday(today: dt.date) -> dt.date:
    """Monday of this week; of the next when it is the weekend, for nothing is driven before."""
    monday = today - dt.timedelta(days=today.weekday())
    return monday if today.weekday() < SATURDAY else monday + dt.timedelta(weeks=1)


def _jobs(organisation: Organisation, fleet: Fleet) -> JobQuerySet:
    if fleet.tankers:
        return Job.objects.for_operator(organisation)
    return Job.objects.filter(organisation=organisation)


def _add(sums: list[int], more: tuple[int, int, int, int]) -> None:
    for place, amount in enumerate(more):
        sums[place] += amount


def _monday(day: dt.date, first: dt.date) -> dt.date:
    return max(day - dt.timedelta(days=day.weekday()), first)


def emptyings_expected(
    organisation: Organisation, today: dt.date, until: dt.date
) -> Iterator[tuple[dt.date, int]]:
    """Day and litres of each emptying forecast before `until` that is no job yet.

    What is overdue is taken to be emptied today, what has a job on the day that is due.
    """
    waiting = Job.objects.open().filter(system=OuterRef("system"), kind=Job.Kind.EMPTYING)
    rows = Forecast.objects.filter(
        Q(organisation=organisation) | Q(organisation__tanker_operator=organisation),
        due_on__lt=until,
        system__retired_on__isnull=True,
    ).annotate(job_on=Subquery(waiting.order_by("due_on").values("due_on")[:1]))
    for row in rows:
        assert row.due_on is not None
        day = max(row.job_on or row.due_on, today)
        if row.job_on is None:
            yield day, litres_of(row)
        for again in falls_due_again(row, day, until):
            yield again, litres_of(row)


def _days_out(
    fleet: Fleet, monday: dt.date, today: dt.date, idle: frozenset[dt.date]
) -> list[Tanker]:
    """Each tanker in use once for every working day of the week it can go out, from today on."""
    days = [monday + dt.timedelta(days=number) for number in range(7)]
    return [
        tanker
        for tanker in fleet.tankers
        for day in days
        if day >= today and day not in idle and day not in _off(tanker)
    ]


def _off(tanker: Tanker) -> set[dt.date]:
    return {off.day for off in tanker.days_off.all()}


def _shift_minutes(tanker: Tanker) -> int:
    seconds = seconds_of(tanker.shift_ends) - seconds_of(tanker.shift_starts)
    return seconds // 60 - tanker.break_minutes
