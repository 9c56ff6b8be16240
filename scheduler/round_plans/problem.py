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

from .clock import LAST_SECOND, LocalClock, seconds_of
from .job_choice import plannable, standing_appointment

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from customers.models import Organisation
    from scheduler.models import Appointment

    from .settings import PlanSettings

# What leaving an optional job for later is held to cost: one more drive out. Our assumption,
# used where the job carries no value of its own; it fades for jobs far from due.
LATER_DRIVE_PENCE = 6_000
FADE_PENCE_PER_DAY = 150
# What a day past due is held to cost: no source, an organisation's own figure may replace it.
LATE_PENCE_PER_DAY = 200
# Emptied a day early, a day of the interval is given away: an emptying over about two years.
EARLY_PENCE_PER_DAY = 15

REGIMES = {
    Tanker.HoursRegime.ASSIMILATED: ASSIMILATED,
    Tanker.HoursRegime.DOMESTIC: GB_DOMESTIC,
}
MM = 1000
SATURDAY = 5
Lock = tuple[str, dt.date]


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
    clock = LocalClock.of(organisation)
    idle = frozenset() if settings.every_day else idle_days(organisation, first_day, days)
    fleet = fleet or fleet_of(organisation, settings.tankers, settings.works)
    rows = jobs_of(organisation, settings) if rows is None else rows
    horizon = (first_day, first_day + dt.timedelta(days=days - 1))
    known = {str(tanker.public_id) for tanker in fleet.tankers}
    kept = {job: lock for job, lock in (locks or {}).items() if lock[0] in known}
    return routing.Problem(
        start=first_day,
        days=days,
        bases=_bases(fleet.tankers),
        works=tuple(_works(row) for row in fleet.works),
        tankers=tuple(_tanker(row, idle) for row in fleet.tankers),
        jobs=tuple(
            _job(
                row,
                clock=clock,
                horizon=horizon,
                settings=settings,
                lock=kept.get(str(row.public_id)),
            )
            for row in rows
        ),
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
    )


def _tanker(row: Tanker, idle: frozenset[dt.date]) -> routing.Tanker:
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
    )


def _job(
    row: Job,
    *,
    clock: LocalClock,
    horizon: tuple[dt.date, dt.date],
    settings: PlanSettings,
    lock: Lock | None,
) -> routing.Job:
    """One job; whatever forbids planning it becomes the reason it is left out with."""
    first_day, last_day = horizon
    premises = row.system.premises
    windows, hold = _promised(standing_appointment(row), clock, horizon)
    latitude, longitude = row.system.latitude, row.system.longitude
    if latitude is None or longitude is None:
        latitude = longitude = 0.0
        hold = "its position is not known: point at its lid on the map of its premises."
    return routing.Job(
        id=str(row.public_id),
        latitude=latitude,
        longitude=longitude,
        litres=(max(row.litres, row.litres_high) if settings.litres_high else row.litres),
        service_seconds=row.minutes * 60,
        earliest=row.earliest,
        due=row.due_on,
        # A last day that has gone by forbids nothing: late is better than never.
        latest=row.latest if row.latest is not None and row.latest >= first_day else None,
        windows=windows,
        required=row.required or row.urgent or bool(windows) or row.due_on <= last_day,
        value_pence=row.value_pence or _value_of_going_now(row, last_day),
        late_pence_per_day=LATE_PENCE_PER_DAY,
        early_pence_per_day=EARLY_PENCE_PER_DAY,
        max_width_m=_in_metres(premises.gate_width_mm),
        max_height_m=_in_metres(premises.height_limit_mm),
        max_tonnes=_in_metres(premises.weight_limit_kg),
        hose_needed_m=premises.hose_run_m,
        waste=row.system.kind,
        locked_tanker=lock[0] if lock else None,
        locked_on=lock[1] if lock and first_day <= lock[1] <= last_day else None,
        hold_reason=hold,
    )


def _in_metres(thousandths: int | None) -> float | None:
    return None if thousandths is None else thousandths / MM


def _value_of_going_now(row: Job, last_day: dt.date) -> int:
    days_early = max((row.due_on - last_day).days, 0)
    return max(LATER_DRIVE_PENCE - FADE_PENCE_PER_DAY * days_early, 0)


def _promised(
    promise: Appointment | None, clock: LocalClock, horizon: tuple[dt.date, dt.date]
) -> tuple[tuple[routing.Window, ...], str]:
    """The promised hours as a window, or why the job cannot be planned on these days."""
    if promise is None:
        return (), ""
    starts, ends = clock.local(promise.starts_at), clock.local(promise.ends_at)
    if not horizon[0] <= starts.date() <= horizon[1]:
        word = "agreed" if promise.agreed_at else "offered"
        return (), f"it is {word} for {starts:%d %B %Y}, which is not one of these days."
    midnight = dt.datetime.combine(starts.date(), dt.time())
    ends = min(ends, midnight + dt.timedelta(seconds=LAST_SECOND))
    return (routing.Window(start=starts, end=ends),), ""
