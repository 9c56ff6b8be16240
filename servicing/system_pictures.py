"""What the pictures of a system show, from its rows."""

from __future__ import annotations

import datetime as dt
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

from servicing import volumes
from servicing.charts import CurvePoint, DipMark, ForecastFacts, LevelFacts
from servicing.models import System, Tank

if TYPE_CHECKING:
    from collections.abc import Sequence

    from servicing.forecasts.measured import MeasuredLevel
    from servicing.models import Forecast

TABLE_ROWS = 12


def level_facts(
    system: System, forecast: Forecast, levels: Sequence[MeasuredLevel], units: str
) -> LevelFacts | None:
    """Facts of the level picture; None where not even a volume is known."""
    if not forecast.working_volume_litres:
        return None
    first: Tank | None = next(iter(system.tanks.all()), None)
    with_scum = [level for level in levels if level.scum_litres is not None and level.litres]
    scum = with_scum[-1] if with_scum else None
    return LevelFacts(
        shape=first.shape if first else Tank.Shape.UNKNOWN,
        working_volume=forecast.working_volume_litres,
        low=forecast.level_p10,
        likely=forecast.level_p50,
        high=forecast.level_p90,
        trigger=forecast.trigger_litres,
        scum_share=(scum.scum_litres or 0.0) / scum.litres if scum else None,
        sealed=system.kind == System.Kind.CESSPOOL,
        say=partial(volumes.spoken, units=units),
    )


def forecast_facts(
    system: System,
    forecast: Forecast,
    levels: Sequence[MeasuredLevel],
    *,
    today: dt.date,
    units: str,
) -> ForecastFacts | None:
    """Facts of the forecast chart; None where there is no curve."""
    points = curve_points(forecast)
    if not points:
        return None
    first = points[0].on
    emptied = {visit.visited_on for visit in system.visits.all() if hasattr(visit, "emptying")}
    if system.last_emptied_on:
        emptied.add(system.last_emptied_on)
    return ForecastFacts(
        points=points,
        today=today,
        working_volume=forecast.working_volume_litres,
        trigger=forecast.trigger_litres,
        due_on=forecast.due_on,
        ceiling_on=forecast.ceiling_on,
        removal_low=forecast.removal_p10,
        removal_likely=forecast.removal_p50,
        removal_high=forecast.removal_p90,
        dips=tuple(DipMark(one.on, one.litres, one.error) for one in levels if one.on >= first),
        emptied_on=tuple(sorted(day for day in emptied if day >= first)),
        content="sewage" if system.kind == System.Kind.CESSPOOL else "sludge and scum",
        say=partial(volumes.spoken, units=units),
    )


def curve_points(forecast: Forecast) -> tuple[CurvePoint, ...]:
    """Points of the stored curve."""
    return tuple(
        CurvePoint(dt.date.fromisoformat(on), low, likely, high)
        for on, low, likely, high in forecast.curve
    )


def bring_level_to(forecast: Forecast, today: dt.date) -> None:
    """Read today's level off the stored curve where the row is some days old; nothing is saved."""
    points = curve_points(forecast)
    for before, after in pairwise(points):
        if forecast.made_on < today and before.on <= today < after.on:
            part = (today - before.on) / (after.on - before.on)
            forecast.level_p10 = before.low + (after.low - before.low) * part
            forecast.level_p50 = before.likely + (after.likely - before.likely) * part
            forecast.level_p90 = before.high + (after.high - before.high) * part


def table_points(points: Sequence[CurvePoint]) -> list[CurvePoint]:
    """A dozen points for the table beside the chart, evenly taken, the last among them."""
    if len(points) <= TABLE_ROWS:
        return list(points)
    step = (len(points) - 1) / (TABLE_ROWS - 1)
    return [points[round(index * step)] for index in range(TABLE_ROWS)]
