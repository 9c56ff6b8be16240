"""Rows of the fleet and of jobs become the planner's problem."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from scheduler.messages.quiet_hours import is_bank_holiday
from scheduler.messages.timing import holiday_region
from scheduler.models import Job, Tanker, TankerDayOff, Works, WorksClosure
from scheduler.routing import problem as routing
from scheduler.routing.driver_hours import ASSIMILATED, GB_DOMESTIC
from scheduler.routing.fleet import Worked
from scheduler.routing.splitting import with_parts

from .clock import LocalClock, seconds_of
from .job_choice import plannable
from .job_facts import Horizon, Lock, job_for_planner
from .prices import prices_of
from .tanker_starts import starts_of
from .worked_before import worked_before

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from customers.models import Organisation

    from .settings import PlanSettings

REGIMES = {
    Tanker.HoursRegime.ASSIMILATED: ASSIMILATED,
    Tanker.HoursRegime.DOMESTIC: GB_DOMESTIC,
}
SATURDAY = 5
A_MONDAY = dt.date(2001, 1, 1)


@dataclass(frozen=True, kw_only=True)
class Fleet:
    """The rows that drive and are driven to, with closures and days off fetched."""

    tankers: tuple[Tanker, ...]
    works: tuple[Works, ...]


def fleet_of(
    organisation: Organisation, tankers: Sequence[str] = (), works: Sequence[str] = ()
) -> Fleet:
    """Tankers and works in use, or those of the given public ids."""
    own_tankers = Tanker.objects.filter(organisation=organisation, in_use=True)
    own_works = Works.objects.filter(organisation=organisation, in_use=True)
    if tankers:
        own_tankers = own_tankers.filter(public_id__in=tankers)
    if works:
        own_works = own_works.filter(public_id__in=works)
    days_off = Prefetch("days_off", queryset=TankerDayOff.objects.all())
    closures = Prefetch("closures", queryset=WorksClosure.objects.all())
    return Fleet(
        tankers=tuple(
            own_tankers.select_related("base", "crew").prefetch_related(days_off).order_by("name")
        ),
        works=tuple(own_works.prefetch_related(closures).order_by("name")),
    )


def jobs_of(organisation: Organisation, settings: PlanSettings) -> list[Job]:
    """Jobs of a run that can still be planned by this organisation."""
    jobs = plannable(Job.objects.for_operator(organisation))
    return list(jobs.filter(public_id__in=settings.jobs).order_by("pk"))


def problem_of(
    *,
    organisation: Organisation,
    first_day: dt.date,
    days: int,
    settings: PlanSettings,
    locks: Mapping[str, Lock] | None = None,
    fleet: Fleet | None = None,
    rows: Sequence[Job] | None = None,
) -> routing.Problem:
    """Everything the planner needs, from the rows as they are now.

    Raises the planner's own errors (`ProblemError`) with sentences that can be shown. `fleet`
    and `rows` spare asking again for what the caller has read already.
    """
    fleet = fleet or fleet_of(organisation, settings.tankers, settings.works)
    rows = jobs_of(organisation, settings) if rows is None else rows
    horizon = _horizon(organisation, first_day, days, every_day=settings.every_day)
    known = {str(tanker.public_id) for tanker in fleet.tankers}
    kept = {job: lock for job, lock in (locks or {}).items() if lock[0] in known}
    worked = worked_before(fleet.tankers, first_day)
    prices = prices_of(organisation, fleet.tankers, fleet.works)
    largest = max((tanker.capacity_litres for tanker in fleet.tankers), default=0)
    jobs = (
        job_for_planner(
            row,
            horizon=horizon,
            settings=settings,
            prices=prices,
            lock=kept.get(str(row.public_id)),
            largest=largest,
        )
        for row in rows
    )
    whole = routing.Problem(
        start=first_day,
        days=days,
        bases=_bases(fleet.tankers),
        works=tuple(_works(row) for row in fleet.works),
        tankers=tuple(_tanker(row, horizon.idle, worked.get(row.pk, ())) for row in fleet.tankers),
        starts=starts_of(fleet.tankers, horizon.first_worked),
        jobs=tuple(jobs),
    )
    return with_parts(whole, settings.visits)


def _horizon(
    organisation: Organisation, first_day: dt.date, days: int, *, every_day: bool
) -> Horizon:
    return Horizon(
        days=tuple(first_day + dt.timedelta(days=number) for number in range(days)),
        idle=frozenset() if every_day else idle_days(organisation, first_day, days),
        clock=LocalClock.of(organisation),
    )


def idle_days(organisation: Organisation, first_day: dt.date, days: int) -> frozenset[dt.date]:
    """Weekends and public holidays among several days; a single day is meant as it is asked."""
    if days == 1:
        return frozenset()
    region = holiday_region(organisation)
    span = (first_day + dt.timedelta(days=number) for number in range(days))
    return frozenset(
        day for day in span if day.weekday() >= SATURDAY or is_bank_holiday(day, region)
    )


def _bases(tankers: Iterable[Tanker]) -> tuple[routing.Base, ...]:
    rows = {tanker.base.pk: tanker.base for tanker in tankers}
    return tuple(
        routing.Base(id=str(row.public_id), latitude=row.latitude, longitude=row.longitude)
        for row in rows.values()
    )


def _works(row: Works) -> routing.Works:
    return routing.Works(
        id=str(row.public_id),
        latitude=row.latitude,
        longitude=row.longitude,
        opens_seconds=seconds_of(row.opens),
        closes_seconds=seconds_of(row.closes),
        tipping_seconds=row.tipping_minutes * 60,
        charge_pence_per_visit=row.charge_pence_per_visit,
        charge_pence_per_m3=row.charge_pence_per_m3,
        closed_on=frozenset(closure.day for closure in row.closures.all()),
        accepts=frozenset(row.accepts),
        hours=_weekday_hours(row),
    )


def _weekday_hours(row: Works) -> tuple[tuple[int, int] | None, ...]:
    """Hours from Monday to Sunday; empty where every day has the same."""
    if not row.weekday_hours:
        return ()
    week = (row.hours_on(A_MONDAY + dt.timedelta(days=number)) for number in range(7))
    return tuple(hours and (seconds_of(hours[0]), seconds_of(hours[1])) for hours in week)


def _tanker(
    row: Tanker, idle: frozenset[dt.date], worked_before: tuple[Worked, ...]
) -> routing.Tanker:
    return routing.Tanker(
        id=str(row.public_id),
        base=str(row.base.public_id),
        capacity_litres=row.capacity_litres,
        shift_start_seconds=seconds_of(row.shift_starts),
        shift_end_seconds=seconds_of(row.shift_ends),
        max_duty_seconds=row.max_duty_minutes * 60,
        overtime_seconds=row.overtime_minutes * 60,
        overtime_pence_per_hour=row.overtime_pence_per_hour,
        pence_per_km=row.pence_per_km,
        pence_per_hour=row.pence_per_hour,
        fixed_pence_per_day=row.fixed_pence_per_day,
        off=idle.union(off.day for off in row.days_off.all()),
        width_m=row.width_m,
        height_m=row.height_m,
        gross_tonnes=row.gross_tonnes,
        hose_m=row.hose_m,
        break_seconds=row.break_minutes * 60,
        break_from_seconds=seconds_of(row.break_from),
        break_until_seconds=seconds_of(row.break_until),
        driver_hours=REGIMES[Tanker.HoursRegime(row.hours_regime)],
        may_end_loaded=row.may_end_loaded,
        max_week_work_seconds=row.max_week_minutes * 60 if row.max_week_minutes else None,
        worked_before=worked_before,
    )
