"""Recompute forecasts and write the rows that changed."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone

from customers.country_rules import RuleBook
from customers.models import Agreement
from servicing.forecasting.faults import BadMeasure, FaultyFacts
from servicing.forecasting.forecast import forecast_systems
from servicing.forecasts.chambers import refresh_chambers
from servicing.forecasts.facts import Gathered, gather
from servicing.forecasts.rows import forecast_row, missing_row
from servicing.models import Forecast, ForecastFigures, PastForecast, System, Visit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from django.db.models import QuerySet

BATCH = 1000
HORIZONS = (30, 60, 90, 180, 365, 730)
# A past forecast is kept monthly, and whenever the date moved by more than two weeks.
KEEP_EVERY_DAYS = 28
KEEP_WHEN_MOVED_DAYS = 14

WRITTEN = [
    field.name
    for field in Forecast._meta.concrete_fields  # noqa: SLF001 (Django's documented Model._meta)
    if field.name not in {"id", "system", "organisation"}
]
FIGURES = [field.name for field in ForecastFigures._meta.fields]  # noqa: SLF001


def refresh_forecast(system: System, *, today: dt.date) -> Forecast:
    """Forecast one system afresh and give its row."""
    refresh_forecasts(System.objects.filter(pk=system.pk), today=today)
    return Forecast.objects.get(system=system)


def refresh_forecasts(systems: QuerySet[System], *, today: dt.date) -> int:
    """Forecast systems that hold sludge, in batches; gives the number of rows that changed.

    May be stopped and begun again at any point: each batch is one transaction and a second
    run on the same day changes nothing.
    """
    changed = 0
    for batch in _batches(systems):
        with transaction.atomic():
            changed += _refresh_batch(batch, today=today)
    return changed


def _batches(systems: QuerySet[System]) -> Iterator[list[System]]:
    ready = (
        systems.in_use()  # type: ignore[attr-defined]
        .select_related("organisation", "organisation__profile", "forecast")
        .prefetch_related(
            "tanks",
            "occupancies",
            "chambers",
            Prefetch(
                "visits",
                Visit.objects.that_count().select_related("emptying").prefetch_related("dips"),
            ),
        )
        .order_by("pk")
    )
    last = 0
    while batch := list(ready.filter(pk__gt=last)[:BATCH]):
        yield batch
        last = batch[-1].pk


def _refresh_batch(batch: list[System], *, today: dt.date) -> int:
    books: dict[int, RuleBook] = {}
    agreements = _agreements(batch, today=today)
    inspections = refresh_chambers(batch, today=today)
    gathered: list[tuple[System, Gathered]] = []
    rows: list[Forecast] = []
    for system in batch:
        profile = system.organisation.profile
        if profile.pk not in books:
            books[profile.pk] = RuleBook(profile, today)
        rules = books[profile.pk]
        if not system.holds_sludge:
            rows.append(missing_row(system, [], today=today, rules=rules, wanted=False))
            continue
        try:
            known = gather(system, rules=rules, agreement=agreements.get(system.premises_id))
        except FaultyFacts as faulty:
            said = [fault.message for fault in faulty.faults]
            rows.append(missing_row(system, said, today=today, rules=rules))
        except BadMeasure as fault:
            rows.append(missing_row(system, [str(fault)], today=today, rules=rules))
        else:
            gathered.append((system, known))
    rows += _forecast_rows(gathered, books, today=today)
    for row in rows:
        row.inspect_due_on = inspections.get(row.system_id)
    return _write(rows, {system.pk: system for system in batch}, today=today)


def _forecast_rows(
    gathered: list[tuple[System, Gathered]], books: dict[int, RuleBook], *, today: dt.date
) -> list[Forecast]:
    if not gathered:
        return []
    by = [today + dt.timedelta(days=days) for days in HORIZONS]
    results = forecast_systems(
        [known.facts for _, known in gathered], today=today, by=by, curve_points=48
    )
    rows = []
    for place, (system, known) in enumerate(gathered):
        rules = books[system.organisation.profile_id]
        faults = results.faults[place]
        if faults:
            said = [fault.message for fault in faults]
            rows.append(missing_row(system, said, today=today, rules=rules))
        else:
            rows.append(forecast_row(system, known, results.of(place), today=today, rules=rules))
    return rows


def _agreements(batch: list[System], *, today: dt.date) -> dict[int, Agreement]:
    """The current agreement at each place; of two the one that runs longer."""
    places = {system.premises_id for system in batch}
    current = (
        Agreement.objects.current(today)
        .filter(premises__in=places)
        .select_related("plan")
        .order_by("ends_on")
    )
    return {agreement.premises_id: agreement for agreement in current}


def _same(old: Forecast, new: Forecast) -> bool:
    return all(
        getattr(old, name) == getattr(new, name) for name in WRITTEN if name != "refreshed_at"
    )


def _write(rows: Iterable[Forecast], systems: dict[int, System], *, today: dt.date) -> int:
    changed, past = [], []
    kept = _last_kept(systems)
    now = timezone.now()
    for row in rows:
        row.refreshed_at = now
        old = getattr(systems[row.system_id], "forecast", None)
        if old is not None and _same(old, row):
            continue
        changed.append(row)
        if _worth_keeping(row, kept.get(row.system_id), today=today):
            figures = {name: getattr(row, name) for name in FIGURES}
            past.append(PastForecast(system_id=row.system_id, **figures))
    # One statement writes new and old alike; bulk_update takes ten times as long.
    Forecast.objects.bulk_create(
        changed,
        batch_size=500,
        update_conflicts=True,
        unique_fields=["system"],
        update_fields=WRITTEN,
    )
    PastForecast.objects.bulk_create(past, batch_size=500)
    return len(changed)


def _last_kept(systems: dict[int, System]) -> dict[int, tuple[dt.date, dt.date | None]]:
    kept: dict[int, tuple[dt.date, dt.date | None]] = {}
    rows = PastForecast.objects.filter(system__in=systems).order_by("made_on", "pk")
    for system, made_on, due_on in rows.values_list("system_id", "made_on", "due_on"):
        kept[system] = (made_on, due_on)
    return kept


def _worth_keeping(
    row: Forecast, kept: tuple[dt.date, dt.date | None] | None, *, today: dt.date
) -> bool:
    if kept is None:
        return True
    made_on, due_on = kept
    if (today - made_on).days >= KEEP_EVERY_DAYS or (due_on is None) != (row.due_on is None):
        return True
    moved = abs((row.due_on - due_on).days) if row.due_on and due_on else 0
    return moved > KEEP_WHEN_MOVED_DAYS
