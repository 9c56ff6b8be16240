"""What falls due, and when: by the forecasts, and by what agreements promise."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.db.models import F, Min, Q

from scheduler.aftercare.promised import promised_by
from scheduler.emptying_sizes import USUAL_LITRES, emptying_minutes, litres_of
from scheduler.models import Job
from servicing.models import Forecast, System

if TYPE_CHECKING:
    from collections.abc import Iterator

    from customers.models import Agreement, Organisation
    from scheduler.aftercare.promised import Promised

# Minutes on site: common practice, no source.
SERVICE_MINUTES = 60
INSPECTION_MINUTES = 25
# A tank is emptied whole: sludge, scum and the liquid between them.
LITRES_HIGH_SHARE = 1.1
HIGH_RISK = 0.5


@dataclass(frozen=True, slots=True)
class Due:
    """One thing that falls due at one system."""

    system: System
    kind: str
    on: dt.date
    why: str
    required: bool
    litres: int = 0
    litres_high: int = 0
    minutes: int = INSPECTION_MINUTES
    agreement: Agreement | None = None


def due_by(organisation: Organisation, *, until: dt.date, today: dt.date) -> Iterator[Due]:
    """Everything that falls due at this organisation's systems by `until`.

    What an agreement promises and the forecast wants too is one visit, on the earlier day.
    """
    promised = {
        (one.system.pk, str(one.kind)): one
        for one in promised_by(organisation, until=until, today=today)
    }
    for due in forecast_due_by(organisation, until=until, today=today):
        one = promised.pop((due.system.pk, str(due.kind)), None)
        yield due if one is None else _both(due, one)
    systems = {one.system.pk for one in promised.values()}
    forecasts = {row.system_id: row for row in Forecast.objects.filter(system__in=systems)}
    for one in promised.values():
        yield _promised_alone(one, forecasts.get(one.system.pk))


def _both(due: Due, one: Promised) -> Due:
    """A visit that falls due and is promised: the earlier day with its reason, and no may-be."""
    first = replace(due, on=one.on, why=one.why) if one.on < due.on else due
    return replace(first, required=True, agreement=one.agreement)


def _promised_alone(one: Promised, forecast: Forecast | None) -> Due:
    """A promised visit that nothing else asks for yet."""
    if one.kind == Job.Kind.EMPTYING:
        litres = litres_of(forecast) if forecast else USUAL_LITRES
        due = _emptying(one.system, litres, on=one.on, why=one.why, required=True)
    else:
        minutes = SERVICE_MINUTES if one.kind == Job.Kind.SERVICE else INSPECTION_MINUTES
        due = Due(one.system, one.kind, one.on, one.why, required=True, minutes=minutes)
    return replace(due, agreement=one.agreement)


def forecast_due_by(organisation: Organisation, *, until: dt.date, today: dt.date) -> Iterator[Due]:
    """What the forecasts say falls due by `until`."""
    rows = (
        Forecast.objects.filter(organisation=organisation, system__retired_on__isnull=True)
        .filter(Q(due_on__lte=until) | Q(service_due_on__lte=until) | Q(inspect_due_on__lte=until))
        .select_related("system")
        .annotate(known_volume=Min("system__tanks__working_volume_litres"))
        .order_by(F("due_on").asc(nulls_last=True), "pk")
    )
    for row in rows.iterator(chunk_size=1000):
        yield from _due_at(row, until=until, today=today)


def _emptying(system: System, litres: int, *, on: dt.date, why: str, required: bool) -> Due:
    return Due(
        system=system,
        kind=Job.Kind.EMPTYING,
        on=on,
        why=why,
        required=required,
        litres=litres,
        litres_high=round(litres * LITRES_HIGH_SHARE),
        minutes=emptying_minutes(litres),
    )


def _due_at(row: Forecast, *, until: dt.date, today: dt.date) -> Iterator[Due]:
    system = row.system
    # Nothing is overdue from before we looked after the system.
    known_since = system.created_at.date()
    if row.due_on and row.due_on <= until:
        yield _emptying(
            system,
            litres_of(row),
            on=max(row.due_on, known_since),
            why=row.reasons[-1] if row.reasons else "",
            required=is_required(row, today=today),
        )
    if row.service_due_on and row.service_due_on <= until:
        yield Due(
            system=system,
            kind=Job.Kind.SERVICE,
            on=row.service_due_on,
            why="The plant's service interval runs out.",
            required=True,
            minutes=SERVICE_MINUTES,
        )
    if row.inspect_due_on and row.inspect_due_on <= until:
        yield Due(
            system=system,
            kind=Job.Kind.INSPECTION,
            on=row.inspect_due_on,
            why="A chamber or filter is due to be looked into.",
            required=False,
        )


def is_required(row: Forecast, *, today: dt.date) -> bool:
    """Whether an emptying may not wait: a ceiling or a reading binds, or the risk is high.

    High: overdue, or more likely than not over its limit within thirty days.
    """
    if row.binding_rule not in {"", "risk", "cost", "horizon"} or (
        row.due_on and row.due_on < today
    ):
        return True
    soon = (row.made_on + dt.timedelta(days=30)).isoformat()
    return float(row.over_risk.get(soon, 0)) >= HIGH_RISK
