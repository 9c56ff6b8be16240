"""How full a system is on a day: quantiles of sludge and scum, in litres."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import Columns, exposure
from servicing.forecasting.learning import Posterior, increment_variance
from servicing.forecasting.normal import normal_cdf_fast, normal_quantile

Floats = npt.NDArray[np.float64]

QUANTILES = (0.10, 0.50, 0.90)
LEVEL_STEPS = 40


def level_quantiles(
    columns: Columns, posterior: Posterior, use: Floats, chances: tuple[float, ...] = QUANTILES
) -> Floats:
    """Litres at years of use (n,), not before the last look: (n, len(chances)).

    Quantiles of the mixture over nodes, between 0 and the working volume.
    """
    mean, sd = level_moments(columns, posterior, use)
    flat = (len(columns), -1)
    found = mixture_quantiles(
        posterior.weights.reshape(flat), mean.reshape(flat), sd.reshape(flat), chances
    )
    return np.clip(found, 0.0, columns.volume[:, None])


def level_moments(columns: Columns, posterior: Posterior, use: Floats) -> tuple[Floats, Floats]:
    """Mean and sd of the level on each node at years of use (n,): litres, (n, 25, 3) each."""
    use = np.maximum(use, posterior.time)
    both = exposure(columns, posterior.cycle_start, np.stack([posterior.time, use], axis=1))
    gained = posterior.rate[:, :, None] * (both[:, 1] - both[:, 0])[:, None, :]
    spread = increment_variance(use - posterior.time)[:, None, None]
    sd = np.sqrt(posterior.level_var + gained**2 * spread)
    return posterior.level + gained, np.maximum(sd, 1e-4 * columns.volume[:, None, None])


def mixture_quantiles(
    weights: Floats,
    mean: Floats,
    sd: Floats,
    chances: tuple[float, ...] = QUANTILES,
    steps: int = LEVEL_STEPS,
) -> Floats:
    """Quantiles of n mixtures of k normals, all (n, k): (n, len(chances)).

    Read off ``steps`` levels, joined by straight lines in the normal score; with 40 the error is
    below 0.5 % of the spread, with 20 below 2 %.
    """
    low, high = (mean - 4 * sd).min(axis=1), (mean + 4 * sd).max(axis=1)
    grid = _grid_about(low, (weights * mean).sum(axis=1), high, steps)
    inverse = (1.0 / sd).astype(np.float32)
    light, centre = weights.astype(np.float32), mean.astype(np.float32)
    score = np.empty_like(grid)
    for step in range(grid.shape[1]):
        reach = (grid[:, step, None].astype(np.float32) - centre) * inverse
        chance = np.einsum("nk,nk->n", light, normal_cdf_fast(reach)).astype(np.float64)
        score[:, step] = normal_quantile(np.clip(chance, 1e-7, 1 - 1e-7))
    score = np.maximum.accumulate(score, axis=1)
    found = [_crossing(grid, score, float(normal_quantile(chance))) for chance in chances]
    return np.stack(found, axis=1)


def _grid_about(low: Floats, centre: Floats, high: Floats, steps: int) -> Floats:
    """Levels from low to high, closer together round the centre: (n, steps)."""
    curve = np.linspace(0.0, 1.0, steps // 2 + 1) ** 2.2
    down = centre[:, None] - (centre - low)[:, None] * curve[::-1]
    up = centre[:, None] + (high - centre)[:, None] * curve[1:]
    return np.concatenate([down, up], axis=1)


def _crossing(grid: Floats, score: Floats, wanted: float) -> Floats:
    step = np.clip((score < wanted).sum(axis=1), 1, grid.shape[1] - 1)
    rows = np.arange(len(grid))
    before, after = score[rows, step - 1], score[rows, step]
    part = np.clip((wanted - before) / np.maximum(after - before, 1e-9), 0.0, 1.0)
    return np.asarray(grid[rows, step - 1] + part * (grid[rows, step] - grid[rows, step - 1]))
