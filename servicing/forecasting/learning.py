"""Learning from dips: a small grid over what a household is like, and the level on each node.

Nodes are 25 rates R (log-normal prior) by 3 compaction exponents b by 2 sizes k of the dip error,
for dips that do not agree with each other are worse dips. On each node the level is Gaussian and
follows a Kalman filter in LITRES through every emptying and dip, so that two dips
of one cycle, a partial emptying and an unknown residue are weighed rightly. Between dips a
household's log rate drifts (an Ornstein-Uhlenbeck process about the prior: families change),
by mixing the nodes. The result depends on the list of visits alone: nothing hidden is kept.

    increment over d years:  m = R dE,  sd m sqrt(YEAR_NOISE^2 g(d) + q d / 3)
    dip:  y ~ N(level, k^2 [(0.12 level)^2 + (0.027 V)^2 / repeats])

At the end the sizes of the dip error are averaged over: nobody asks for them afterwards.
The error sizes are judgement; no study of dip errors was found. They are estimated again from
repeat dips and from the fleet where there are enough.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import (
    BOOK_PRIOR,
    DIP,
    DIP_ERROR_WEIGHTS,
    DIP_ERRORS,
    NOTHING,
    RESET,
    Columns,
    Prior,
    exposure,
)

Floats = npt.NDArray[np.float64]

RATE_NODES = np.linspace(-3.2, 3.2, 25)
YEAR_NOISE = 0.20  # relative sd of one year's accumulation: judgement, no source
NOISE_MEMORY = 0.5  # years after which that noise has forgotten itself: judgement
DRIFT = 0.01  # variance of the log rate gained a year: 8 % of homes change by a third
DIP_SHARE_ERROR = 0.12  # of the level: judgement, no source
DIP_VOLUME_ERROR = 0.027  # of the volume: 40 mm at a third of a 1.6 m drum, exact geometry
SURPRISE = 3.0  # standard deviations at which a dip is asked about instead of believed


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is known after the last event of n systems, on 25 x 3 nodes.

    ``weights``, ``level``, ``level_var`` (n, 25, 3): litres and litres^2 at ``time``;
    ``rate`` (n, 25) L a person at one year; ``time``, ``cycle_start`` (n,) years of use;
    ``last_dip`` (n,) litres measured in this cycle, NaN if none; ``surprise`` (n, K): how many
    standard deviations each dip lay from its prediction, NaN where no dip;
    ``log_likelihood`` (n,) of all the dips; ``residue``, ``residue_sd`` (n,) litres at the
    start of the cycle.
    """

    weights: Floats
    rate: Floats
    level: Floats
    level_var: Floats
    time: Floats
    cycle_start: Floats
    last_dip: Floats
    surprise: Floats
    log_likelihood: Floats
    residue: Floats
    residue_sd: Floats


def learn(columns: Columns, prior: Prior = BOOK_PRIOR) -> Posterior:
    """Posterior of every system after all its events.

    Rates start from the columns' own ``log_rate``; ``prior`` gives exponents and dip error.
    """
    state = _State(columns, prior)
    for k in range(columns.event_kind.shape[1]):
        state.pass_time(columns.event_time[:, k], columns.event_kind[:, k] != NOTHING)
        state.reset(k, columns.event_kind[:, k] == RESET)
        state.read_dip(k, columns.event_kind[:, k] == DIP)
    return state.posterior()


def increment_variance(years: Floats) -> Floats:
    """Relative variance of an increment over so many years of use, elementwise.

    Noise of YEAR_NOISE that forgets itself in half a year, averaged over the interval, and the
    drift's share: 0.04 for a moment, 0.023 + 0.003 for one year, 0.011 + 0.01 for three.
    """
    spans = np.maximum(years, 1e-3) / NOISE_MEMORY
    averaged = 2.0 / spans * (1.0 - -np.expm1(-spans) / spans)
    return np.asarray(YEAR_NOISE**2 * averaged + DRIFT * years / 3.0)


@lru_cache(maxsize=64)
def _mixing_tables(log_rate_sd: float, levels: int = 48) -> tuple[Floats, Floats]:
    """Gaps in years (levels,), and for each the drift's transition matrix (levels, 25, 25)."""
    gaps = np.concatenate([[0.0], np.geomspace(0.05, 40.0, levels - 1)])
    pull = DRIFT / (2.0 * log_rate_sd**2)
    keep = np.exp(-pull * gaps)[:, None, None]
    spread = np.maximum(1.0 - keep**2, 1e-9)
    log_kernel = -((RATE_NODES[None, None, :] - keep * RATE_NODES[None, :, None]) ** 2)
    log_kernel = log_kernel / (2.0 * spread)
    kernel = np.exp(log_kernel - log_kernel.max(axis=2, keepdims=True))
    return gaps, kernel / kernel.sum(axis=2, keepdims=True)


class _State:
    """The filter's moving parts while it walks through the events."""

    def __init__(self, columns: Columns, prior: Prior) -> None:
        errors, error_weights = dip_errors(prior)
        self.sizes, powers = len(errors), columns.exponents.shape[1]
        n, nodes, kinds = len(columns), len(RATE_NODES), self.sizes * powers
        self.columns, self.usual_error = columns, prior.dip_error
        self.dip_error = np.repeat(errors, powers)
        rate_weights = np.exp(-0.5 * RATE_NODES**2)
        kind_weights = np.kron(error_weights, np.array(prior.exponent_weights))
        grid = rate_weights[:, None] / rate_weights.sum() * kind_weights
        self.weights = np.tile(grid, (n, 1, 1))
        self.rate = np.exp(columns.log_rate[:, None] + columns.log_rate_sd[:, None] * RATE_NODES)
        self.level = np.zeros((n, nodes, kinds))
        self.level_var = np.zeros((n, nodes, kinds))
        self.time = columns.event_time[:, 0].copy()
        self.cycle_start = self.time.copy()
        self.exposed = np.zeros((n, kinds))
        self.last_dip = np.full(n, np.nan)
        self.learned = np.zeros(n, dtype=bool)
        self.surprise = np.full(columns.event_kind.shape, np.nan)
        self.log_likelihood = np.zeros(n)
        self.residue, self.residue_sd = np.zeros(n), np.zeros(n)
        self.tables = _mixing_tables(round(float(np.median(columns.log_rate_sd)), 2))

    def pass_time(self, until: Floats, moving: npt.NDArray[np.bool_]) -> None:
        """Let solids build up, and households change, until each system's next event."""
        until = np.where(moving, until, self.time)
        if np.array_equal(until, self.time):
            return  # a dip and an emptying of one visit
        self._mix(until - self.time)
        exposed = exposure(self.columns, self.cycle_start, until[:, None])[:, 0, :]
        exposed = np.tile(exposed, self.sizes)
        gained = self.rate[:, :, None] * (exposed - self.exposed)[:, None, :]
        spread = increment_variance(until - self.time)[:, None, None]
        self.level = self.level + gained
        self.level_var = self.level_var + gained**2 * spread
        self.time, self.exposed = until, exposed

    def _mix(self, gap: Floats) -> None:
        chosen = np.flatnonzero(self.learned & (gap > 0.025))
        if not len(chosen):
            return
        gaps, tables = self.tables
        nearest = np.abs(gap[chosen, None] - gaps).argmin(axis=1)
        w, level, var = (part[chosen] for part in (self.weights, self.level, self.level_var))
        moments = np.concatenate([w, w * level, w * (level**2 + var)], axis=2)
        moved = np.swapaxes(tables, 1, 2)[nearest] @ moments
        w, first, second = np.split(moved, 3, axis=2)
        safe = np.maximum(w, 1e-300)
        level = first / safe
        self.weights[chosen] = w
        self.level[chosen] = level
        self.level_var[chosen] = np.maximum(second / safe - level**2, 0.0)

    def reset(self, k: int, emptied: npt.NDArray[np.bool_]) -> None:
        """Start a new cycle where event k is an emptying."""
        left, spread = self.columns.event_litres[:, k], self.columns.event_sd[:, k]
        self.level[emptied] = left[emptied, None, None]
        self.level_var[emptied] = spread[emptied, None, None] ** 2
        self.cycle_start = np.where(emptied, self.time, self.cycle_start)
        self.exposed[emptied] = 0.0
        self.last_dip[emptied] = np.nan
        self.residue[emptied], self.residue_sd[emptied] = left[emptied], spread[emptied]

    def read_dip(self, k: int, dipped: npt.NDArray[np.bool_]) -> None:
        """Weigh the nodes by event k where it is a dip, and draw their levels towards it."""
        rows = np.flatnonzero(dipped)
        if not len(rows):
            return
        litres = self.columns.event_litres[rows, k][:, None, None]
        volume = self.columns.volume[rows] * self.columns.event_sd[rows, k]
        level, var, w = self.level[rows], self.level_var[rows], self.weights[rows]
        error = (DIP_SHARE_ERROR * level) ** 2 + (DIP_VOLUME_ERROR * volume)[:, None, None] ** 2
        # What is asked about is what even a dip of the usual error contradicts.
        surprise = _surprise(w, level, var + error * self.usual_error**2, litres)
        self.surprise[rows, k] = surprise
        error = error * self.dip_error**2
        # A dip far below what is possible is asked about; until then it counts for less.
        error = error * np.maximum(1.0, -surprise / SURPRISE)[:, None, None]
        total = var + error
        log_likelihood = -0.5 * (np.log(2 * math.pi * total) + (litres - level) ** 2 / total)
        top = log_likelihood.max(axis=(1, 2), keepdims=True)
        w = w * np.exp(log_likelihood - top)
        whole = w.sum(axis=(1, 2), keepdims=True)
        self.log_likelihood[rows] += (np.log(whole) + top)[:, 0, 0]
        gain = var / total
        self.weights[rows] = w / whole
        self.level[rows] = level + gain * (litres - level)
        self.level_var[rows] = var * (1.0 - gain)
        self.last_dip[rows] = litres[:, 0, 0]
        self.learned[rows] = True

    def posterior(self) -> Posterior:
        weights, level, level_var = self._over_dip_errors()
        return Posterior(
            weights=weights,
            rate=self.rate,
            level=level,
            level_var=level_var,
            time=self.time,
            cycle_start=self.cycle_start,
            last_dip=self.last_dip,
            surprise=self.surprise,
            log_likelihood=self.log_likelihood,
            residue=self.residue,
            residue_sd=self.residue_sd,
        )

    def _over_dip_errors(self) -> tuple[Floats, Floats, Floats]:
        """Weights, levels and variances with the sizes of the dip error averaged over."""
        if self.sizes == 1:
            return self.weights, self.level, self.level_var
        shape = (*self.weights.shape[:2], self.sizes, -1)
        apart = (self.weights, self.level, self.level_var)
        weights, level, var = (values.reshape(shape) for values in apart)
        whole = weights.sum(axis=2)
        safe = np.maximum(whole, 1e-300)
        mean = (weights * level).sum(axis=2) / safe
        square = (weights * (level**2 + var)).sum(axis=2) / safe
        return whole, mean, np.maximum(square - mean**2, 0.0)


def dip_errors(prior: Prior) -> tuple[Floats, Floats]:
    """Sizes the dip error may have, as multiples of the usual one, and how likely each is."""
    if prior.dip_doubt <= 0:
        return np.array([prior.dip_error]), np.array([1.0])
    sizes = prior.dip_error * np.array(DIP_ERRORS) ** prior.dip_doubt
    return sizes, np.array(DIP_ERROR_WEIGHTS)


def _surprise(weights: Floats, level: Floats, var: Floats, litres: Floats) -> Floats:
    mean = (weights * level).sum(axis=(1, 2))
    second = (weights * (level**2 + var)).sum(axis=(1, 2))
    spread = np.sqrt(np.maximum(second - mean**2, 1e-12))
    return np.asarray((litres[:, 0, 0] - mean) / spread)
