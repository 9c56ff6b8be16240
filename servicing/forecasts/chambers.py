"""When chambers and filters are to be looked into next."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import holidays

from servicing.forecasting.chambers import (
    Cause,
    ChamberFacts,
    Look,
    QuietPeriod,
    winter_quiet_periods,
)
from servicing.forecasting.inspection_date import forecast_inspections
from servicing.models import Chamber, ChamberFinding

if TYPE_CHECKING:
    from collections.abc import Iterable

    from customers.models import CountryProfile
    from servicing.models import System

CAUSES = {
    ChamberFinding.Debris.WIPES: Cause.WIPES,
    ChamberFinding.Debris.FAT: Cause.FAT,
    ChamberFinding.Debris.SANITARY: Cause.SANITARY,
    ChamberFinding.Debris.SILT: Cause.SILT,
    ChamberFinding.Debris.ROOTS: Cause.ROOTS,
    ChamberFinding.Debris.RUBBLE: Cause.RUBBLE,
    ChamberFinding.Debris.SCALE: Cause.SCALE,
    ChamberFinding.Debris.TOYS: Cause.OTHER,
}
LOOK_AHEAD_YEARS = 3
ACCEPTED_RISK = 0.10


def grade(amount: int, flow: str) -> int:
    """Grade of a finding: 0 clear, 1 some debris, 2 flow held back, 3 blocked (our own scale)."""
    if flow == ChamberFinding.Flow.NONE or amount >= ChamberFinding.Amount.FULL:
        return 3
    if flow == ChamberFinding.Flow.SLOW or amount >= ChamberFinding.Amount.HALF:
        return 2
    return 1 if amount >= ChamberFinding.Amount.TRACE else 0


def quiet_periods(profile: CountryProfile, *, today: dt.date) -> list[QuietPeriod]:
    """Spans in which nothing should fall due: bank holidays with their weekends, deep winter."""
    years = range(today.year, today.year + LOOK_AHEAD_YEARS + 1)
    days = holidays.country_holidays(
        profile.holidays_country, subdiv=profile.holidays_subdivision or None, years=years
    )
    found = [
        QuietPeriod(day - dt.timedelta(days=3), day + dt.timedelta(days=3), name)
        for day, name in days.items()
    ]
    return found + winter_quiet_periods(today.year - 1, today.year + LOOK_AHEAD_YEARS)


def refresh_chambers(systems: Iterable[System], *, today: dt.date) -> dict[int, dt.date]:
    """Write each chamber's next inspection; gives the earliest of each system by its id.

    Systems have chambers prefetched and the profile of their organisation selected.
    """
    chambers = [
        (system, chamber)
        for system in systems
        for chamber in system.chambers.all()
        if chamber.kind in {Chamber.Kind.INSPECTION, Chamber.Kind.EFFLUENT_FILTER}
    ]
    if not chambers:
        return {}
    looks = _looks([chamber.pk for _, chamber in chambers])
    quiet: dict[int, list[QuietPeriod]] = {}
    earliest: dict[int, dt.date] = {}
    changed = []
    for system, chamber in chambers:
        profile = system.organisation.profile
        if profile.pk not in quiet:
            quiet[profile.pk] = quiet_periods(profile, today=today)
        due_on, because = _next_look(
            system, chamber, looks.get(chamber.pk, ()), quiet=quiet[profile.pk], today=today
        )
        if (chamber.inspect_due_on, chamber.inspect_because) != (due_on, because):
            chamber.inspect_due_on, chamber.inspect_because = due_on, because
            changed.append(chamber)
        if due_on is not None:
            earliest[system.pk] = min(due_on, earliest.get(system.pk, due_on))
    Chamber.objects.bulk_update(changed, ["inspect_due_on", "inspect_because"], batch_size=500)
    return earliest


def _looks(chambers: list[int]) -> dict[int, tuple[Look, ...]]:
    """Worst finding of each visit, oldest first, by chamber id."""
    rows = (
        ChamberFinding.objects.filter(
            chamber__in=chambers, visit__abandoned_because="", visit__replaced_by__isnull=True
        )
        .order_by("visit__visited_on")
        .values_list("chamber_id", "visit__visited_on", "amount", "flow", "debris")
    )
    worst: dict[tuple[int, dt.date], Look] = {}
    for chamber, day, amount, flow, debris in rows:
        look = Look(day, grade(amount, flow), CAUSES.get(ChamberFinding.Debris(debris)))
        known = worst.get((chamber, day))
        if known is None or look.grade > known.grade:
            worst[chamber, day] = look
    found: dict[int, list[Look]] = {}
    for (chamber, _), look in worst.items():
        found.setdefault(chamber, []).append(look)
    return {chamber: tuple(those) for chamber, those in found.items()}


def _next_look(
    system: System,
    chamber: Chamber,
    looks: tuple[Look, ...],
    *,
    quiet: list[QuietPeriod],
    today: dt.date,
) -> tuple[dt.date | None, str]:
    if not looks and chamber.last_inspected_on:
        looks = (Look(chamber.last_inspected_on, 0),)
    # Without a look on record, count from the day the system was taken on, or put in if later.
    taken_on = min(today, system.created_at.date())
    counted_from = max(taken_on, system.installed_on or taken_on)
    result = forecast_inspections(
        [
            ChamberFacts(
                f"{system.reference} {chamber.label}",
                system.installed_on if looks else counted_from,
                looks=looks,
                accepted_risk=ACCEPTED_RISK,
                kind="filter" if chamber.kind == Chamber.Kind.EFFLUENT_FILTER else "chamber",
            )
        ],
        today=today,
        quiet=quiet,
    )[0]
    return result.due_on, (result.moved_because or result.advice)[:300]
