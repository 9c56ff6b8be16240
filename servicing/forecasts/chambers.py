"""When chambers and filters are to be looked into next, and what to tell the owner of them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING, NamedTuple

from servicing.forecasting.chambers import Cause, ChamberFacts, Look
from servicing.forecasting.inspection_date import forecast_inspections
from servicing.forecasts.wording import span_words
from servicing.models import Chamber, ChamberFinding

if TYPE_CHECKING:
    from customers.models import Organisation
    from servicing.forecasting.inspection_date import InspectionForecast
    from servicing.forecasts.circumstances import CircumstancesOfAll
    from servicing.forecasts.reading import ChamberRow, LookRow, OnRecord

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
# What sets the interval, for the reader; quiet periods only move the day.
WHY = {
    "risk": "Every {span}: by then trouble is as likely as you accept, {risk:.0%}.",
    "cost": "Every {span}: looking more or less often would cost more.",
    "longest": "Every {span}: the longest interval we keep to.",
}


class NextLook(NamedTuple):
    """What is written on a chamber."""

    inspect_due_on: dt.date | None
    inspect_because: str
    debris_advice: str


def grade(amount: int, flow: str) -> int:
    """Grade of a finding: 0 clear, 1 some debris, 2 flow held back, 3 blocked (our own scale)."""
    if flow == ChamberFinding.Flow.NONE or amount >= ChamberFinding.Amount.FULL:
        return 3
    if flow == ChamberFinding.Flow.SLOW or amount >= ChamberFinding.Amount.HALF:
        return 2
    return 1 if amount >= ChamberFinding.Amount.TRACE else 0


def refresh_chambers(
    records: Iterable[OnRecord], circumstances: CircumstancesOfAll
) -> dict[int, dt.date]:
    """Write each chamber's next inspection; gives the earliest of each system by its id."""
    found: dict[int, NextLook] = {}
    earliest: dict[int, dt.date] = {}
    for record in records:
        for chamber, look in next_looks(record, circumstances):
            found[chamber.pk] = look
            if look.inspect_due_on is not None:
                known = earliest.get(record.system.pk, look.inspect_due_on)
                earliest[record.system.pk] = min(look.inspect_due_on, known)
    changed = []
    for row in Chamber.objects.filter(pk__in=found).only("pk", *NextLook._fields):
        if found[row.pk] != tuple(getattr(row, name) for name in NextLook._fields):
            for name, value in found[row.pk]._asdict().items():
                setattr(row, name, value)
            changed.append(row)
    Chamber.objects.bulk_update(changed, NextLook._fields, batch_size=500)
    return earliest


def next_looks(
    record: OnRecord, circumstances: CircumstancesOfAll
) -> list[tuple[ChamberRow, NextLook]]:
    """The next look into each chamber of one system."""
    if not record.chambers:
        return []
    ours = circumstances.of(record.system.organisation_id)
    looks = looks_of(record.looks)
    found = []
    for chamber in record.chambers:
        facts = chamber_facts(
            record,
            chamber,
            looks.get(chamber.pk, ()),
            today=circumstances.today,
            organisation=ours.organisation,
        )
        result = forecast_inspections(
            [facts],
            today=circumstances.today,
            quiet=ours.quiet,
            fleet=ours.chamber_priors[facts.kind],
        )[0]
        found.append((chamber, _as_written(result, facts)))
    return found


def _as_written(result: InspectionForecast, facts: ChamberFacts) -> NextLook:
    if result.faults:
        because = "; ".join(fault.message for fault in result.faults)
        return NextLook(None, because[:300], "")
    days = result.interval_days
    if result.moved_from is not None and result.due_on is not None:
        days += (result.moved_from - result.due_on).days
    why = WHY[result.binding_rule]
    because = why.format(span=span_words(days), risk=facts.accepted_risk).replace("%", " %")
    if result.moved_because:
        because += f" Moved ahead of {result.moved_because}."
    advice = ""
    if result.likely_cause is not None:
        what = (
            "things that do not belong"
            if result.likely_cause is Cause.OTHER
            else result.likely_cause
        )
        advice = f"Mostly {what} found. {result.advice}"
    return NextLook(result.due_on, because[:300], advice[:300])


def looks_of(rows: Iterable[LookRow]) -> dict[int, tuple[Look, ...]]:
    """Worst finding of each visit, oldest first, by chamber id."""
    worst: dict[tuple[int, dt.date], Look] = {}
    for row in rows:
        look = Look(
            row.on, grade(row.amount, row.flow), CAUSES.get(ChamberFinding.Debris(row.debris))
        )
        known = worst.get((row.chamber_id, row.on))
        if known is None or look.grade > known.grade:
            worst[row.chamber_id, row.on] = look
    found: dict[int, list[Look]] = {}
    for (chamber, _), look in worst.items():
        found.setdefault(chamber, []).append(look)
    return {chamber: tuple(those) for chamber, those in found.items()}


def chamber_facts(
    record: OnRecord,
    chamber: ChamberRow,
    looks: tuple[Look, ...],
    *,
    today: dt.date,
    organisation: Organisation,
) -> ChamberFacts:
    """Facts of one chamber; what it was like before us counts from the last look told to us.

    Where an organisation sets its dates by cost, and has said what a look costs, so are its looks.
    """
    by_cost = organisation.dates_by == organisation.DatesBy.COST
    system = record.system
    if not looks and chamber.last_inspected_on:
        looks = (Look(chamber.last_inspected_on, 0),)
    # Without a look on record, count from the day the system was taken on, or put in if later.
    taken_on = min(today, system.created_at.date())
    counted_from = max(taken_on, system.installed_on or taken_on)
    return ChamberFacts(
        f"{system.reference} {chamber.label}",
        system.installed_on if looks else counted_from,
        looks=looks,
        accepted_risk=organisation.accepted_risk,
        trouble_price=organisation.year_of_trouble_price if by_cost else None,
        kind="filter" if chamber.kind == Chamber.Kind.EFFLUENT_FILTER else "chamber",
    )
