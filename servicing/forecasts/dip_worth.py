"""Which tanks are worth measuring next, in the organisation's own money."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from servicing.forecasting.dip_value import DipValue, dip_values
from servicing.forecasting.faults import BadMeasure, FaultyFacts
from servicing.forecasting.money import cheapest_risk, price_of_risk
from servicing.forecasts.circumstances import Circumstances, circumstances_of, promises
from servicing.forecasts.facts import gather
from servicing.forecasts.reading import OnRecord, read_systems
from servicing.models import DipWorth, Forecast, System

if TYPE_CHECKING:
    from customers.models import Organisation
    from servicing.forecasting.accumulation import Prior
    from servicing.forecasting.facts import SystemFacts
    from servicing.models.track_record import DipWorthQuerySet

BATCH = 500
# A sample says what an accepted risk means; more systems would not change the answer.
SAMPLE = 200
WORTH_DAYS = 7
# A cesspool or a trap fills in weeks: by the time a dip is learned from, it is emptied.
FILLS_OVER_YEARS = (System.Kind.SEPTIC_TANK, System.Kind.PACKAGE_PLANT)
KM_PER_DEGREE = 111.2  # of latitude, on a sphere of 6,371 km


def value_dips(organisation: Organisation, *, today: dt.date) -> int:
    """Work out what a dip of each tank is worth, where the level sets its date; gives rows written.

    Nothing without the cost of an emptying and of a dip. A second run on one day changes nothing.
    """
    if not organisation.emptying_cost_pence or not organisation.dip_cost_pence:
        deleted, _ = DipWorth.objects.filter(organisation=organisation).delete()
        return deleted
    ours = circumstances_of(organisation, today=today)
    trouble = trouble_cost(organisation, ours, today=today)
    if trouble is None:
        return 0
    ids = list(_worth_asking(organisation))
    DipWorth.objects.filter(organisation=organisation).exclude(system__in=ids).delete()
    fresh = DipWorth.objects.filter(
        system__in=ids,
        worked_out_on__gt=today - dt.timedelta(days=WORTH_DAYS),
        costs_pence=organisation.dip_cost_pence,
    )
    done = set(fresh.values_list("system_id", flat=True))
    ids = [pk for pk in ids if pk not in done]
    written = 0
    for first in range(0, len(ids), BATCH):
        written += _value_batch(ids[first : first + BATCH], ours, trouble, today=today)
    return written


def _worth_asking(organisation: Organisation) -> list[int]:
    """Systems whose date the forecast level or its cost sets: elsewhere a dip moves nothing."""
    rows = Forecast.objects.filter(
        organisation=organisation,
        system__retired_on__isnull=True,
        system__kind__in=FILLS_OVER_YEARS,
        state=Forecast.State.READY,
        binding_rule__in=("risk", "cost"),
    )
    return list(rows.order_by("system_id").values_list("system_id", flat=True))


def _value_batch(ids: list[int], ours: Circumstances, trouble: float, *, today: dt.date) -> int:
    organisation = ours.organisation
    records = read_systems(ids)
    by_reference = {record.system.reference: pk for pk, record in records.items()}
    by_lesson: dict[Prior, list[OnRecord]] = {}
    for record in records.values():
        by_lesson.setdefault(ours.prior_for(record), []).append(record)
    values = [
        value
        for prior, group in by_lesson.items()
        for value in dip_values(
            facts_of_all(group, ours, today=today),
            today=today,
            dip_cost=float(organisation.dip_cost_pence or 1),
            emptying_cost=float(organisation.emptying_cost_pence or 1),
            year_over_cost=trouble,
            prior=prior,
        )
    ]
    rows = [
        _row(by_reference[value.reference], value, organisation, today=today) for value in values
    ]
    with transaction.atomic():
        DipWorth.objects.filter(system__in=ids).delete()
        DipWorth.objects.bulk_create(rows)
    return len(rows)


def _row(system: int, value: DipValue, organisation: Organisation, *, today: dt.date) -> DipWorth:
    return DipWorth(
        system_id=system,
        organisation=organisation,
        saves_pence=round(value.saves, 1),
        costs_pence=float(organisation.dip_cost_pence or 0),
        range_days=round(value.range_days, 1),
        range_days_after=round(value.range_days_after, 1),
        worked_out_on=today,
    )


def facts_of_all(
    records: list[OnRecord], ours: Circumstances, *, today: dt.date
) -> list[SystemFacts]:
    """Facts of every system that holds sludge and can be read."""
    promised = promises((record.system.premises_id for record in records), today=today)
    found = []
    for record in records:
        if not record.system.holds_sludge:
            continue
        try:
            known = gather(
                record,
                organisation=ours.organisation,
                rules=ours.rules,
                promise=promised.get(record.system.premises_id),
            )
        except (BadMeasure, FaultyFacts):
            continue
        found.append(known.facts)
    return found


def trouble_cost(
    organisation: Organisation, ours: Circumstances, *, today: dt.date
) -> float | None:
    """Pence a year over the limit costs: as told, else what the accepted risk amounts to."""
    if organisation.trouble_cost_pence:
        return float(organisation.trouble_cost_pence)
    if not organisation.emptying_cost_pence:
        return None
    return price_of_risk(
        _sample(organisation, ours, today=today),
        today=today,
        emptying_cost=float(organisation.emptying_cost_pence),
        prior=ours.prior,
    )


def risk_called_for(organisation: Organisation, *, today: dt.date) -> float | None:
    """The accepted risk that the organisation's own costs call for; None until both are known."""
    if not organisation.emptying_cost_pence or not organisation.trouble_cost_pence:
        return None
    ours = circumstances_of(organisation, today=today)
    return cheapest_risk(
        _sample(organisation, ours, today=today),
        today=today,
        emptying_cost=float(organisation.emptying_cost_pence),
        year_over_price=float(organisation.trouble_cost_pence),
        prior=ours.prior,
    )


def risk_in_money(organisation: Organisation, *, today: dt.date) -> float | None:
    """What a year over the limit would have to cost, in emptyings, for the accepted risk to pay."""
    ours = circumstances_of(organisation, today=today)
    return price_of_risk(
        _sample(organisation, ours, today=today), today=today, emptying_cost=1.0, prior=ours.prior
    )


def _sample(
    organisation: Organisation, ours: Circumstances, *, today: dt.date
) -> list[SystemFacts]:
    """Septic tanks evenly through the register."""
    rows = System.objects.in_use().filter(
        organisation=organisation, kind=System.Kind.SEPTIC_TANK, forecast__state="ready"
    )
    ids = list(rows.order_by("pk").values_list("pk", flat=True))
    step = max(1, -(-len(ids) // SAMPLE))
    return facts_of_all(list(read_systems(ids[::step]).values()), ours, today=today)


@dataclass(frozen=True, slots=True)
class Nearby:
    """A tank worth measuring, and how far it lies from a place."""

    worth: DipWorth
    km: float


def near(rows: DipWorthQuerySet, *, latitude: float, longitude: float, km: float) -> list[Nearby]:
    """Those within so many kilometres of a place, as the crow flies, nearest first."""
    north = km / KM_PER_DEGREE
    east = north / max(0.05, math.cos(math.radians(latitude)))
    inside = rows.select_related("system__premises").filter(
        system__premises__latitude__range=(latitude - north, latitude + north),
        system__premises__longitude__range=(longitude - east, longitude + east),
    )
    found = [Nearby(row, _km_between(row.system, latitude, longitude)) for row in inside]
    return sorted((one for one in found if one.km <= km), key=lambda one: one.km)


def _km_between(system: System, latitude: float, longitude: float) -> float:
    up = (system.latitude or 0.0) - latitude
    across = ((system.longitude or 0.0) - longitude) * math.cos(math.radians(latitude))
    return math.hypot(up, across) * KM_PER_DEGREE
