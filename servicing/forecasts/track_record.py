"""Past forecasts held against what crews found: both as they were written down."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from customers.country_rules import RuleBook
from servicing.forecasting.outcomes import Curve
from servicing.forecasting.track_record import AGES_DAYS, Found, level_on, track_record
from servicing.forecasts.measured import levels_of
from servicing.forecasts.reading import OnRecord, read_systems
from servicing.models import CheckedForecast, Dip, FleetLearning, PastForecast, Visit

if TYPE_CHECKING:
    from customers.models import Organisation
    from servicing.forecasting.track_record import Record
    from servicing.forecasts.measured import MeasuredLevel

BATCH = 500
NOTICED = 0.01  # of the volume: a leaning smaller than that is none
DAYS_A_MONTH = 30.44


def check_forecasts(organisation: Organisation, *, today: dt.date) -> int:
    """Hold past forecasts against measurements not yet checked; gives the number of rows written.

    A forecast is never worked out again: its levels are those kept on the day it was made. A
    second run on the same record changes nothing; a corrected visit is checked anew.
    """
    rules = RuleBook(organisation.profile, today)
    ids = sorted(_unchecked(organisation))
    written = 0
    for first in range(0, len(ids), BATCH):
        records = list(read_systems(ids[first : first + BATCH]).values())
        with transaction.atomic():
            written += _check_batch(records, organisation, rules)
    return written


def _unchecked(organisation: Organisation) -> set[int]:
    """Systems with a measurement no forecast was held against, or a visit changed since."""
    checked = CheckedForecast.objects.filter(organisation=organisation)
    changed = Visit.objects.filter(
        system=OuterRef("system"),
        visited_on=OuterRef("found_on"),
        changed_at__gt=OuterRef("checked_at"),
    )
    said_before = PastForecast.objects.filter(
        system=OuterRef("visit__system"), made_on__lt=OuterRef("visit__visited_on")
    )
    held = CheckedForecast.objects.filter(
        system=OuterRef("visit__system"), found_on=OuterRef("visit__visited_on")
    )
    new = Dip.objects.filter(
        visit__organisation=organisation,
        visit__abandoned_because="",
        visit__replaced_by__isnull=True,
    ).filter(Exists(said_before), ~Exists(held))
    return {
        *checked.filter(Exists(changed)).values_list("system_id", flat=True),
        *new.values_list("visit__system_id", flat=True),
    }


def _check_batch(records: list[OnRecord], organisation: Organisation, rules: RuleBook) -> int:
    ids = [record.system.pk for record in records]
    past: dict[int, list[PastForecast]] = {}
    for one in PastForecast.objects.filter(system__in=ids).order_by("made_on", "pk"):
        past.setdefault(one.system_id, []).append(one)
    wanted: dict[tuple[int, dt.date], CheckedForecast] = {}
    for record in records:
        levels = levels_of(record, organisation=organisation, rules=rules)
        for row in _checks_of(record, levels, past.get(record.system.pk, [])):
            wanted[row.past_id, row.found_on] = row
    standing = list(CheckedForecast.objects.filter(system__in=ids))
    same = [row for row in standing if _same(row, wanted.get((row.past_id, row.found_on)))]
    kept = {(row.past_id, row.found_on) for row in same}
    stale = [row.pk for row in standing if (row.past_id, row.found_on) not in kept]
    CheckedForecast.objects.filter(pk__in=stale).delete()
    CheckedForecast.objects.filter(pk__in=[row.pk for row in same]).update(
        checked_at=timezone.now()
    )
    new = [row for key, row in wanted.items() if key not in kept]
    CheckedForecast.objects.bulk_create(new, batch_size=500)
    return len(new) + len(stale)


def _same(old: CheckedForecast, new: CheckedForecast | None) -> bool:
    return new is not None and (old.found, old.newest) == (new.found, new.newest)


def _checks_of(
    record: OnRecord, levels: Sequence[MeasuredLevel], past: Sequence[PastForecast]
) -> Iterator[CheckedForecast]:
    """For each measurement and each range of ages, the newest forecast made before it.

    Forecasts of one month after another say nearly the same: to count each would claim more
    certainty than there is. One made before the last emptying foretold another filling.
    """
    emptied = sorted(row.on for row in record.emptyings)
    for level in levels:
        since = max((day for day in emptied if day < level.on), default=dt.date.min)
        before = [one for one in past if since <= one.made_on < level.on]
        for number, one in enumerate(_newest_of_each_age(before, level.on)):
            said = _said_for(one, level.on)
            if said is None or not one.working_volume_litres:
                continue
            p10, p50, p90 = said
            yield CheckedForecast(
                organisation_id=record.system.organisation_id,
                system_id=record.system.pk,
                past=one,
                made_on=one.made_on,
                found_on=level.on,
                p10=round(p10, 1),
                p50=round(p50, 1),
                p90=round(p90, 1),
                found=round(level.litres, 1),
                volume=one.working_volume_litres,
                newest=number == 0,
            )


def _newest_of_each_age(before: Iterable[PastForecast], on: dt.date) -> list[PastForecast]:
    """Newest forecast in each range of ages, the newest of all first."""
    found: dict[int, PastForecast] = {}
    for one in before:  # oldest first, so that the newest stays
        age = (on - one.made_on).days
        found[sum(age >= bound for bound in AGES_DAYS)] = one
    return [found[place] for place in sorted(found)]


def _said_for(one: PastForecast, day: dt.date) -> tuple[float, float, float] | None:
    """Levels a kept forecast foretold for a day; None where it did not look so far."""
    if len(one.levels) < 2:
        return None
    days, low, middle, high = zip(*one.levels, strict=True)
    curve = Curve(tuple(dt.date.fromisoformat(day) for day in days), low, middle, high)
    return level_on(curve, day)


def track_record_of(organisation: Organisation) -> tuple[Record, ...]:
    """How forecasts came true: first each measurement's newest one, then by age."""
    learned = FleetLearning.objects.filter(organisation=organisation).first()
    dip_error = learned.dip_error if learned else 1.0
    rows = CheckedForecast.objects.filter(organisation=organisation)
    names = ("made_on", "found_on", "p10", "p50", "p90", "found", "volume")
    newest = [Found(*row) for row in rows.filter(newest=True).values_list(*names)]
    every = [Found(*row) for row in rows.values_list(*names)]
    first, *_ = track_record(newest, dip_error=dip_error)
    _, *by_age = track_record(every, dip_error=dip_error)
    return (first, *by_age)


def with_held(rows: Iterable[CheckedForecast]) -> list[tuple[CheckedForecast, bool]]:
    """Checks of one organisation, each with whether its range held, the dip's error allowed for."""
    listed = list(rows)
    learned = FleetLearning.objects.filter(
        organisation__in={row.organisation_id for row in listed}
    ).first()
    dip_error = learned.dip_error if learned else 1.0
    return [(row, _held(row, dip_error)) for row in listed]


def _held(row: CheckedForecast, dip_error: float) -> bool:
    found = Found(row.made_on, row.found_on, row.p10, row.p50, row.p90, row.found, row.volume)
    record, *_ = track_record([found], dip_error=dip_error)
    return record.held == 1.0


@dataclass(frozen=True, slots=True)
class RecordWords:
    """One line of the record for people; shares of one."""

    age: str
    forecasts: int
    held: float | None
    held_low: float | None
    held_high: float | None
    error: float | None
    leaning: str


def as_words(record: Record) -> RecordWords:
    """A record as the page shows it; nothing where there is no forecast to speak of."""
    if not record.forecasts:
        return RecordWords(_age(record), 0, None, None, None, None, "")
    leaning = "neither fuller nor emptier than said"
    if abs(record.bias) >= NOTICED:
        leaning = f"{'fuller' if record.bias > 0 else 'emptier'} than said"
    return RecordWords(
        _age(record),
        record.forecasts,
        record.held,
        record.held_low,
        record.held_high,
        record.error,
        leaning,
    )


def _age(record: Record) -> str:
    first, last = record.from_days, record.to_days
    if first == AGES_DAYS[0] and last == AGES_DAYS[-1]:
        return "The newest before each measurement"
    if last == AGES_DAYS[-1]:
        return f"{first // 365} years and more"
    months = [round(days / DAYS_A_MONTH) for days in (first, last)]
    return f"{months[0]} to {months[1]} months" if first else f"up to {months[1]} months"
