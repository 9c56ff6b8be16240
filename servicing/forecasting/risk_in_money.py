"""What an accepted risk means in money, and the date that costs least.

Empty every t years and pay C each time; a year over the trigger costs h on average (calls at
night, floods, a ruined drainage field). In the long run a year costs

    [C + h * integral of P(over) from 0 to t] / t,

least where h (t F(t) - integral of F) = C. So each accepted risk F(t) stands for a ratio h / C.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.normal import normal_cdf
from servicing.forecasting.removal_date import Passage

Floats = npt.NDArray[np.float64]


def cheapest_use(
    passage: Passage, cycle_start: Floats, emptying_cost: float, year_over_cost: Floats | float
) -> Floats:
    """Years of use (n,) at which a year costs least; inf where waiting always pays.

    ``cycle_start`` (n,) years of use; costs in one currency, above zero: the emptying's, and
    that of one year over the trigger.
    """
    require_cost("emptying_cost", emptying_cost)
    require_cost("year_over_cost", float(np.min(year_over_cost)))
    balance = _balance(passage, cycle_start)
    ratio = np.log(emptying_cost / np.broadcast_to(year_over_cost, (len(cycle_start),)))
    logs = np.log(np.maximum(balance, 1e-12))
    reached = logs >= ratio[:, None]
    step = np.argmax(reached, axis=1)
    rows, low = np.arange(len(step)), np.maximum(step - 1, 0)
    before, after = logs[rows, low], logs[rows, step]
    part = np.where(step > 0, (ratio - before) / np.maximum(after - before, 1e-12), 1.0)
    steps = np.log(passage.steps)
    gap = np.exp(steps[low] + np.clip(part, 0, 1) * (steps[step] - steps[low]))
    return np.asarray(np.where(reached.any(axis=1), passage.time + gap, np.inf))


def year_over_cost(
    passage: Passage, cycle_start: Floats, emptying_cost: float, accepted_risk: Floats
) -> Floats:
    """What one year over the trigger must cost for ``accepted_risk`` (n,) to be the cheapest, (n,).

    NaN where that risk is not reached within the horizon.
    """
    require_cost("emptying_cost", emptying_cost)
    balance = _balance(passage, cycle_start)
    due = np.log(np.maximum(passage.quantile(accepted_risk) - passage.time, 1e-9))
    position = np.interp(due, np.log(passage.steps), np.arange(len(passage.steps)))
    low = np.minimum(position.astype(np.intp), len(passage.steps) - 2)
    rows, part = np.arange(len(low)), position - low
    there = balance[rows, low] * (1 - part) + balance[rows, low + 1] * part
    known = np.isfinite(due) & (there > 0)
    return np.asarray(np.where(known, emptying_cost / np.maximum(there, 1e-12), np.nan))


def least_yearly_cost(
    passage: Passage,
    cycle_start: Floats,
    use: Floats,
    *,
    latest: Floats,
    emptying_cost: float,
    year_over_cost: float,
) -> tuple[Floats, Floats]:
    """Least cost of a year from ``use`` (n,) years of use on, and the years of use it is had at.

    What happened before ``use`` is past and costs nothing more. A ceiling allows nothing after
    ``latest`` (n,) years of use, inf for none; past it, only ``use`` itself is left.
    """
    gaps = np.concatenate([[0.0], np.geomspace(1 / 52, passage.steps[-1], 150)])
    chance = passage.probability(use[:, None] + gaps)
    middles = (chance[:, 1:] + chance[:, :-1]) / 2 * np.diff(gaps)
    area = np.concatenate([np.zeros((len(use), 1)), np.cumsum(middles, axis=1)], axis=1)
    age = np.maximum((use - cycle_start)[:, None] + gaps, 1 / 52)
    cost = (emptying_cost + year_over_cost * area) / age
    barred = use[:, None] + gaps > latest[:, None]
    barred[:, 0] = False
    best = np.where(barred, np.inf, cost).argmin(axis=1)
    return np.asarray(cost[np.arange(len(use)), best]), use + gaps[best]


def _area(passage: Passage) -> Floats:
    """Integral of P(over) from the last look to each step, years (n, T)."""
    chance = normal_cdf(passage.scores)
    widths = np.diff(passage.steps, prepend=0.0)
    before = np.concatenate([chance[:, :1], chance[:, :-1]], axis=1)
    return np.asarray(np.cumsum((chance + before) / 2 * widths, axis=1))


def _balance(passage: Passage, cycle_start: Floats) -> Floats:
    """T F(t) - integral of F at each step: years, (n, T), rising."""
    chance = normal_cdf(passage.scores)
    age = (passage.time - cycle_start)[:, None] + passage.steps
    return np.asarray(np.maximum.accumulate(age * chance - _area(passage), axis=1))


def require_cost(name: str, cost: float) -> None:
    """Refuse a cost that is not above zero."""
    if not np.isfinite(cost) or cost <= 0:
        raise BadMeasure(name, f"{name} must be more than 0, not {cost}")
