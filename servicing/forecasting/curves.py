"""The charts of many systems: their levels from the last emptying to beyond the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import Columns, exposure
from servicing.forecasting.learning import Posterior
from servicing.forecasting.levels import level_moments, mixture_quantiles
from servicing.forecasting.outcomes import Curve
from servicing.forecasting.year_clock import DAYS_A_YEAR, EPOCH

Floats = npt.NDArray[np.float64]
SHORTEST_DAYS = 365
LONGEST_DAYS = 365 * 25
LEAST_SD = 1.0  # litre: a rate without weight has no spread of its own
CHART_STEPS = 20  # levels tried for a quantile: enough for a line on a chart


def curves_of(
    columns: Columns,
    posterior: Posterior,
    starts: Sequence[date],
    untils: Sequence[date],
    points: int,
) -> list[Curve]:
    """Likely levels of n systems on ``points`` days each, from its start to its end.

    After the last look it is the forecast; before it, each node's curve drawn from the residue
    to the level it has now, in proportion to the exposure in between. The three curves of a
    rate are drawn as one normal with their mean and variance.
    """
    days = _days_between(starts, untils, points)
    use = columns.clock.use((days - EPOCH.toordinal()) / DAYS_A_YEAR)
    weights = posterior.weights.sum(axis=2)
    found = np.empty((*use.shape, 3))
    for point in range(use.shape[1]):
        then = _as_it_was(columns, posterior, use[:, point])
        mean, sd = _by_rate(posterior.weights, *level_moments(columns, then, use[:, point]))
        found[:, point] = mixture_quantiles(weights, mean, sd, steps=CHART_STEPS)
    # The level never sinks between emptyings; the last digit of a quantile may.
    found = np.maximum.accumulate(np.clip(found, 0.0, columns.volume[:, None, None]), axis=1)
    return [_curve(days[i], found[i]) for i in range(len(found))]


def _curve(days: npt.NDArray[np.int64], levels: Floats) -> Curve:
    p10, p50, p90 = (tuple(line) for line in levels.T.tolist())
    return Curve(tuple(date.fromordinal(day) for day in days.tolist()), p10, p50, p90)


def _days_between(
    starts: Sequence[date], untils: Sequence[date], points: int
) -> npt.NDArray[np.int64]:
    """Ordinals of evenly spaced days, (n, points)."""
    first = np.array([day.toordinal() for day in starts])
    last = np.array([day.toordinal() for day in untils])
    span = np.clip(last - first, SHORTEST_DAYS, LONGEST_DAYS)
    steps = np.linspace(0.0, 1.0, min(points, SHORTEST_DAYS))
    return np.asarray(first[:, None] + np.round(span[:, None] * steps).astype(np.int64))


def _by_rate(weights: Floats, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Mean and sd over the exponents of each rate: (n, 25, 3) to (n, 25)."""
    whole = np.maximum(np.einsum("nrb->nr", weights), 1e-300)
    middle = np.einsum("nrb,nrb->nr", weights, mean) / whole
    second = np.einsum("nrb,nrb->nr", weights, sd**2 + mean**2) / whole - middle**2
    return middle, np.sqrt(np.maximum(second, LEAST_SD**2))


def _as_it_was(columns: Columns, posterior: Posterior, use: Floats) -> Posterior:
    """The posterior taken back to years of use (n,) where they lie before the last look."""
    then = np.minimum(use, posterior.time)
    both = exposure(columns, posterior.cycle_start, np.stack([then, posterior.time], axis=1))
    reached, whole = both[:, 0], both[:, 1]
    part = np.where(whole > 0, reached / np.maximum(whole, 1e-12), 1.0)[:, None, :]
    # A dip below the usual residue says that less was left behind: nothing sinks in between.
    residue = np.minimum(posterior.residue[:, None, None], np.maximum(posterior.level, 0.0))
    level = residue + (posterior.level - residue) * part
    spread = posterior.residue_sd[:, None, None] * (1.0 - part)
    return replace(
        posterior,
        level=level,
        level_var=posterior.level_var * part**2 + spread**2,
        time=then,
    )
