"""Forecast rows into the database: only what changed, and a trail of what was said."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from django.db import connection
from django.db.models import F
from django.utils import timezone

from servicing.forecasts.rows import Said, litres, over_risk
from servicing.models import Forecast, ForecastFigures, PastForecast

if TYPE_CHECKING:
    from servicing.forecasting.outcomes import SystemForecast
    from servicing.forecasts.reading import OnRecord

# A past forecast is kept monthly, and whenever the date moved by more than two weeks.
KEEP_EVERY_DAYS = 28
KEEP_WHEN_MOVED_DAYS = 14
KEPT_POINTS = 12
# The date that a measurement moved is news for so long.
NEWS_DAYS = 400
FULL_MONTH_AND_WEEK = 70

WRITTEN = [
    field.name
    for field in Forecast._meta.concrete_fields  # noqa: SLF001 (Django's documented Model._meta)
    if field.name not in {"id", "system", "organisation"}
]
AGED = (
    "UPDATE servicing_forecast SET made_on = %s, refreshed_at = %s, level_p10 = %s,"
    " level_p50 = %s, level_p90 = %s, over_risk = %s WHERE id = %s"
)
AGED_TOGETHER = (
    "UPDATE servicing_forecast AS old SET made_on = %s, refreshed_at = %s, level_p10 = new.low,"
    " level_p50 = new.middle, level_p90 = new.high, over_risk = new.risk::jsonb"
    " FROM unnest(%s::float8[], %s::float8[], %s::float8[], %s::text[], %s::bigint[])"
    " AS new(low, middle, high, risk, id) WHERE old.id = new.id"
)
COMPARED = [name for name in WRITTEN if name not in {"refreshed_at", "made_on"}]
FIGURES = [field.name for field in ForecastFigures._meta.fields]  # noqa: SLF001


class Standing(NamedTuple):
    """What the row in force says of itself."""

    pk: int
    inputs_digest: str
    made_on: dt.date
    state: str
    kept_on: dt.date | None
    kept_due_on: dt.date | None


def write_rows(rows: Sequence[Forecast], *, same: Sequence[int], today: dt.date) -> int:
    """Write rows that say something new; gives their number.

    `same` are the systems whose fingerprint stands: the others' rows are new by that alone.
    """
    old = Forecast.objects.in_bulk(same, field_name="system_id") if same else {}
    now = timezone.now()
    changed = [row for row in rows if not _same(old.get(row.system_id), row)]
    past = []
    for row in changed:
        row.refreshed_at = now
        if _worth_keeping(row, today=today):
            past.append(_kept(row))
            row.kept_on, row.kept_due_on = today, row.due_on
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


def write_aged(found: Sequence[tuple[Standing | None, SystemForecast]], *, today: dt.date) -> int:
    """Write today's level and odds of rows whose inputs stand; gives their number."""
    now = timezone.now()
    values = [
        (
            litres(result.level_p10),
            litres(result.level_p50),
            litres(result.level_p90),
            json.dumps(over_risk(result)),
            standing.pk,
        )
        for standing, result in found
        if standing is not None
    ]
    if not values:
        return 0
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # One statement for all: a thousand small ones cost more than the forecasts.
            cursor.execute(AGED_TOGETHER, [today, now, *map(list, zip(*values, strict=True))])
        else:
            day = connection.ops.adapt_datefield_value(today)
            moment = connection.ops.adapt_datetimefield_value(now)
            cursor.executemany(AGED, [(day, moment, *row) for row in values])
    _keep_aged([standing for standing, _ in found if standing is not None], today=today)
    return len(values)


def _keep_aged(standing: Iterable[Standing], *, today: dt.date) -> None:
    """Keep the rows whose last past forecast is a month old."""
    month = dt.timedelta(days=KEEP_EVERY_DAYS)
    wanted = [one.pk for one in standing if one.kept_on is None or today - one.kept_on >= month]
    if not wanted:
        return
    rows = Forecast.objects.filter(pk__in=wanted)
    PastForecast.objects.bulk_create([_kept(row) for row in rows], batch_size=500)
    rows.update(kept_on=today, kept_due_on=F("due_on"))


def _kept(row: Forecast) -> PastForecast:
    """A forecast as it stands, with the levels it foretells: scoring asks for no more."""
    figures = {name: getattr(row, name) for name in FIGURES}
    return PastForecast(system_id=row.system_id, levels=levels_ahead(row), **figures)


def levels_ahead(row: Forecast) -> list[list[object]]:
    """Date, p10, p50, p90 from the day a forecast was made on, to the end of its curve."""
    if row.level_p50 is None:
        return []
    today = row.made_on.isoformat()
    ahead = [point for point in row.curve if point[0] > today]
    step = max(1, -(-len(ahead) // KEPT_POINTS))
    thinned = ahead[::-1][::step][::-1]  # from the end, so that the last is always kept
    return [[today, row.level_p10, row.level_p50, row.level_p90], *thinned]


def last_said(records: Iterable[OnRecord], *, today: dt.date) -> dict[int, Said]:
    """What was said last before each system's newest dip, where that is still news."""
    dipped = {
        one.system.pk: one.dips[-1].on
        for one in records
        if one.dips and (today - one.dips[-1].on).days <= NEWS_DAYS
    }
    if not dipped:
        return {}
    since = min(dipped.values()) - dt.timedelta(days=FULL_MONTH_AND_WEEK)
    rows = (
        PastForecast.objects.filter(system__in=dipped, made_on__gte=since)
        .order_by("made_on", "pk")
        .values_list("system_id", "made_on", "due_on", "rate_p50", "since")
    )
    return {
        system: Said(due_on, rate, began)
        for system, made_on, due_on, rate, began in rows
        if made_on < dipped[system]
    }


def _same(old: Forecast | None, new: Forecast) -> bool:
    return old is not None and all(getattr(old, name) == getattr(new, name) for name in COMPARED)


def _worth_keeping(row: Forecast, *, today: dt.date) -> bool:
    if row.kept_on is None:
        return True
    if (today - row.kept_on).days >= KEEP_EVERY_DAYS:
        return True
    if (row.kept_due_on is None) != (row.due_on is None):
        return True
    moved = abs((row.due_on - row.kept_due_on).days) if row.due_on and row.kept_due_on else 0
    return moved > KEEP_WHEN_MOVED_DAYS
