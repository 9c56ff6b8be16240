"""The chart of one system: its level from the last emptying to beyond the next."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import Columns, exposure
from servicing.forecasting.learning import Posterior
from servicing.forecasting.levels import level_quantiles
from servicing.forecasting.outcomes import Curve
from servicing.forecasting.year_clock import years_of

Floats = npt.NDArray[np.float64]
SHORTEST_DAYS = 365
LONGEST_DAYS = 365 * 25


def curve_of(
    columns: Columns, posterior: Posterior, start: date, until: date, points: int
) -> Curve:
    """Likely level on ``points`` days from ``start`` to ``until`` of ONE system (arrays of 1 row).

    After the last look it is the forecast; before it, each node's curve drawn from the residue
    to the level it has now, in proportion to the exposure in between.
    """
    days = _days_between(start, until, points)
    rows = np.zeros(len(days), dtype=np.intp)
    years = np.array([[years_of(day) for day in days]])
    use = columns.clock.use(years)[0]
    many, then = columns.rows(rows), _as_it_was(columns, posterior, use)
    levels = level_quantiles(many, then, use)
    p10, p50, p90 = (tuple(float(v) for v in levels[:, i]) for i in range(3))
    return Curve(tuple(days), p10, p50, p90)


def _days_between(start: date, until: date, points: int) -> list[date]:
    span = min(max((until - start).days, SHORTEST_DAYS), LONGEST_DAYS)
    steps = np.unique(np.round(np.linspace(0, span, points)).astype(int))
    return [start + timedelta(days=int(step)) for step in steps]


def _as_it_was(columns: Columns, posterior: Posterior, use: Floats) -> Posterior:
    """The posterior of one system repeated for T times of use, taken back where they are past."""
    many = posterior.rows(np.zeros(len(use), dtype=np.intp))
    both = np.minimum(use, posterior.time[0])
    reached = exposure(columns, posterior.cycle_start, both[None, :])[0]
    whole = exposure(columns, posterior.cycle_start, posterior.time[:, None])[0]
    part = np.where(whole > 0, reached / np.maximum(whole, 1e-12), 1.0)[:, None, :]
    # A dip below the usual residue says that less was left behind: nothing sinks in between.
    residue = np.minimum(many.residue[:, None, None], np.maximum(many.level, 0.0))
    level = residue + (many.level - residue) * part
    var = many.level_var * part**2 + many.residue_sd[:, None, None] ** 2 * (1.0 - part) ** 2
    return replace(many, level=level, level_var=var, time=both)
