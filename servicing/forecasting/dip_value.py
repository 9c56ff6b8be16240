"""Which tanks are worth measuring next: what a dip would tell, before it is taken.

For each tank five dips are tried that are equally likely today, each is learned from, and the
likely range of the date, and the cost of a year, are compared with those of today. What a dip
is worth in money is what it saves, on average, until the tank is emptied next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import BOOK_PRIOR, DIP, Columns, Prior
from servicing.forecasting.checks import faults_of
from servicing.forecasting.columns import Row, columns_of, row_of
from servicing.forecasting.due_date import earliest_ceiling
from servicing.forecasting.facts import SystemFacts
from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.learning import (
    DIP_SHARE_ERROR,
    DIP_VOLUME_ERROR,
    Posterior,
    learn,
)
from servicing.forecasting.levels import level_quantiles
from servicing.forecasting.removal_date import HORIZON_YEARS, Passage, first_passage
from servicing.forecasting.risk_in_money import least_yearly_cost, require_cost
from servicing.forecasting.year_clock import years_of

Floats = npt.NDArray[np.float64]
TRIED = (0.1, 0.3, 0.5, 0.7, 0.9)  # equally likely fifths of today's dip
BLOCK = 1024


@dataclass(frozen=True, slots=True)
class DipValue:
    """What measuring one tank today would bring.

    ``range_days`` of the likely date (p10 to p90) now and, on average, after the dip; ``saves``
    in the currency of the costs, before paying for the dip; ``worth`` after paying for it.
    """

    reference: str
    range_days: float
    range_days_after: float
    saves: float
    worth: float


def dip_values(
    systems: Sequence[SystemFacts],
    *,
    today: date,
    dip_cost: float,
    emptying_cost: float,
    year_over_cost: float,
    prior: Prior = BOOK_PRIOR,
) -> tuple[DipValue, ...]:
    """Every system that can be forecast, the dip most worth its cost first.

    Costs in one currency, above zero: of one dip, one emptying, one year over the trigger.
    Raises BadMeasure for an impossible cost. Faulty systems are left out.
    """
    for name, cost in (("dip_cost", dip_cost), ("emptying_cost", emptying_cost)):
        require_cost(name, cost)
    require_cost("year_over_cost", year_over_cost)
    rows = [row_of(facts, prior) for facts in systems if _fit(facts, today, prior)]
    money = {"emptying_cost": emptying_cost, "year_over_cost": year_over_cost}
    found: list[DipValue] = []
    for first in range(0, len(rows), BLOCK):
        block = rows[first : first + BLOCK]
        now, after, saves = _worth(block, today, prior, money)
        found += [
            DipValue(
                block[i].facts.reference,
                range_days=float(now[i]),
                range_days_after=float(after[i]),
                saves=float(saves[i]),
                worth=float(saves[i]) - dip_cost,
            )
            for i in range(len(block))
        ]
    return tuple(sorted(found, key=lambda value: (-value.worth, value.reference)))


def _fit(facts: SystemFacts, today: date, prior: Prior) -> bool:
    if faults_of(facts, today):
        return False
    try:
        row_of(facts, prior)
    except BadMeasure:
        return False
    return True


def _worth(
    rows: list[Row], today: date, prior: Prior, money: dict[str, float]
) -> tuple[Floats, Floats, Floats]:
    """Range now, range after, and saving, (n,) each: days, days, currency."""
    columns = columns_of(rows)
    latest = _ceilings(columns, rows)
    posterior = learn(columns, prior)
    use = columns.clock.use(np.full((len(columns), 1), years_of(today)))[:, 0]
    before = first_passage(columns, posterior, look_trusted=False)
    cost, due = least_yearly_cost(before, posterior.cycle_start, use, latest=latest, **money)
    ranges, costs = [], []
    for litres in _likely_dips(columns, posterior, use, prior).T:
        tried = _with_dip(columns, use, litres)
        learned = learn(tried, prior)
        after = first_passage(tried, learned, look_trusted=False)
        ranges.append(_range_days(columns, after))
        least, _ = least_yearly_cost(after, learned.cycle_start, use, latest=latest, **money)
        costs.append(least)
    years = np.clip(due - posterior.cycle_start, 1 / 12, HORIZON_YEARS)
    saves = np.maximum(cost - np.mean(costs, axis=0), 0.0) * years
    return _range_days(columns, before), np.asarray(np.mean(ranges, axis=0)), saves


def _ceilings(columns: Columns, rows: list[Row]) -> Floats:
    """Years of use at each system's earliest ceiling, inf where it has none: (n,)."""
    found = [earliest_ceiling(row.start, row.facts.ceilings) for row in rows]
    years = np.array([[years_of(ceiling[0]) if ceiling else 0.0] for ceiling in found])
    use = columns.clock.use(years)[:, 0]
    return np.where([ceiling is not None for ceiling in found], use, np.inf)


def _likely_dips(columns: Columns, posterior: Posterior, use: Floats, prior: Prior) -> Floats:
    """Litres a dip would read today at each of TRIED, its own error included: (n, 5)."""
    levels = level_quantiles(columns, posterior, use, TRIED)
    middle = levels[:, 2:3]
    error = prior.dip_error * np.hypot(
        DIP_SHARE_ERROR * middle, DIP_VOLUME_ERROR * columns.volume[:, None]
    )
    spread = np.maximum((levels[:, 4:] - levels[:, :1]) / 2.563, 1e-9)
    stretched = middle + (levels - middle) * np.sqrt(1.0 + (error / spread) ** 2)
    return np.clip(stretched, 0.0, columns.volume[:, None])


def _with_dip(columns: Columns, use: Floats, litres: Floats) -> Columns:
    """The same systems after one more dip."""
    last = np.full((len(columns), 1), 1.0)
    kind = np.full((len(columns), 1), DIP, dtype=np.int8)
    return replace(
        columns,
        event_kind=np.concatenate([columns.event_kind, kind], axis=1),
        event_time=np.concatenate([columns.event_time, use[:, None]], axis=1),
        event_litres=np.concatenate([columns.event_litres, litres[:, None]], axis=1),
        event_sd=np.concatenate([columns.event_sd, last], axis=1),
    )


def _range_days(columns: Columns, passage: Passage) -> Floats:
    early, late = (
        np.minimum(passage.quantile(np.full(len(columns), chance)), passage.time + HORIZON_YEARS)
        for chance in (0.1, 0.9)
    )
    both = columns.clock.years(np.stack([early, late], axis=1))
    return np.asarray((both[:, 1] - both[:, 0]) * 365.25)
