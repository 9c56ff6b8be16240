"""When a system reaches its trigger: first passage, quantiles, and the date that is due.

The level only rises between emptyings, so the chance of being over the trigger by t is the
distribution of the date itself. On each node, given that the last look found it not over:

    P(over by t) = Phi( [ln R dE(t) - mu] / sqrt(YEAR_NOISE^2 g(d) + q d / 3 + s^2) )

d years since the last look, mu and s of the log-normal that has the mean and variance of the
litres still to come (trigger - level, cut off at 0).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import Columns, exposure
from servicing.forecasting.learning import Posterior, increment_variance
from servicing.forecasting.normal import normal_cdf, normal_cdf_fast, normal_quantile

Floats = npt.NDArray[np.float64]

HORIZON_YEARS = 60.0
STEPS = np.concatenate([np.geomspace(1 / 365.25, HORIZON_YEARS, 56)])
CLIP = 6.0


@dataclass(frozen=True, slots=True)
class Passage:
    """The distribution of the crossing of n systems.

    ``steps`` (T,) years of use since the last look; ``scores`` (n, T): normal score of
    P(over by then), rising; ``time`` (n,) years of use of the last look.
    """

    steps: Floats
    scores: Floats
    time: Floats

    def probability(self, use: Floats) -> Floats:
        """P(over by) at years of use (n, D), 0 up to the last look: (n, D)."""
        gap = use - self.time[:, None]
        position = np.interp(np.log(np.maximum(gap, 1e-9)), np.log(self.steps), self._places())
        low = np.minimum(np.floor(position).astype(np.intp), len(self.steps) - 2)
        part = position - low
        before = np.take_along_axis(self.scores, low, axis=1)
        after = np.take_along_axis(self.scores, low + 1, axis=1)
        chance = normal_cdf(before + part * (after - before))
        return np.asarray(
            np.where(gap < self.steps[0], chance * np.clip(gap, 0, None) / self.steps[0], chance)
        )

    def _places(self) -> Floats:
        return np.arange(len(self.steps), dtype=np.float64)

    def quantile(self, chance: Floats) -> Floats:
        """Years of use (n,) at which P(over) reaches ``chance`` (n,); inf beyond the horizon."""
        wanted = normal_quantile(chance)[:, None]
        reached = self.scores >= wanted
        step = np.argmax(reached, axis=1)
        low = np.maximum(step - 1, 0)
        rows = np.arange(len(step))
        before, after = self.scores[rows, low], self.scores[rows, step]
        part = np.where(step > 0, (wanted[:, 0] - before) / np.maximum(after - before, 1e-9), 1.0)
        logs = np.log(self.steps)
        gap = np.exp(logs[low] + np.clip(part, 0.0, 1.0) * (logs[step] - logs[low]))
        return np.asarray(np.where(reached.any(axis=1), self.time + gap, np.inf))


def first_passage(columns: Columns, posterior: Posterior, *, look_trusted: bool = True) -> Passage:
    """Distribution of the crossing, given not over when last looked at.

    With ``look_trusted`` False the chance that it was over already is kept, as the average over
    looks not yet taken needs.
    """
    mean_log, var_log, weights, over = _still_to_come(columns, posterior)
    until = posterior.time[:, None] + STEPS[None, :]
    now = exposure(columns, posterior.cycle_start, posterior.time[:, None])
    gained = np.log(np.maximum(exposure(columns, posterior.cycle_start, until) - now, 1e-12))
    offset = (np.log(posterior.rate)[:, :, None] - mean_log).astype(np.float32)
    spread = increment_variance(STEPS).astype(np.float32)
    chance = np.zeros(until.shape, dtype=np.float32)
    var_log, weights = var_log.astype(np.float32), weights.astype(np.float32)
    for step in range(len(STEPS)):
        reach = offset + gained[:, step, None, :].astype(np.float32)
        reach /= np.sqrt(var_log + spread[step])
        chance[:, step] = np.einsum("nrb,nrb->n", weights, normal_cdf_fast(reach))
    if not look_trusted:
        chance = (over[:, None] + (1.0 - over[:, None]) * chance).astype(np.float32)
    chance = np.maximum.accumulate(np.clip(chance, 1e-9, 1 - 1e-7), axis=1)
    return Passage(STEPS, normal_quantile(chance.astype(np.float64)), posterior.time)


def _still_to_come(columns: Columns, posterior: Posterior) -> tuple[Floats, Floats, Floats, Floats]:
    """Log-normal moments of the litres to the trigger, and weights, given that some are.

    Last the chance (n,) that none are: that it is over already.
    """
    need = columns.trigger[:, None, None] - posterior.level
    sd = np.sqrt(np.maximum(posterior.level_var, (1e-3 * columns.trigger[:, None, None]) ** 2))
    ratio = np.maximum(need / sd, -5.0)
    below = np.maximum(normal_cdf(ratio), 1e-9)
    hazard = np.exp(-0.5 * ratio**2) / math.sqrt(2 * math.pi) / below
    mean = np.maximum(ratio + hazard, 1e-3)
    var = np.clip(1.0 - ratio * hazard - hazard**2, 1e-4, 1.0)
    var_log = np.log1p(var / mean**2)
    mean_log = np.log(mean * sd) - 0.5 * var_log
    weights = posterior.weights * below
    whole = weights.sum(axis=(1, 2), keepdims=True)
    return mean_log, var_log, weights / whole, 1.0 - np.minimum(whole[:, 0, 0], 1.0)
