"""An accepted risk in money, and the risk that a price of trouble calls for, system by system."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import BOOK_PRIOR, Prior
from servicing.forecasting.checks import faults_of
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.facts import SystemFacts
from servicing.forecasting.learning import learn
from servicing.forecasting.removal_date import Passage, first_passage
from servicing.forecasting.risk_in_money import cheapest_use, year_over_cost

Floats = npt.NDArray[np.float64]


def price_of_risk(
    systems: Sequence[SystemFacts],
    *,
    today: date,
    emptying_cost: float,
    prior: Prior = BOOK_PRIOR,
) -> float | None:
    """What a year over the trigger must cost for the systems' accepted risk to be the cheapest.

    The median over all that can be forecast, in the currency of ``emptying_cost``; None if none
    can. Raises BadMeasure for a cost that is not above zero.
    """
    sound = [facts for facts in systems if not faults_of(facts, today)]
    if not sound:
        return None
    passage, start = _passage(sound, prior)
    risks = np.array([facts.accepted_risk for facts in sound])
    prices = year_over_cost(passage, start, emptying_cost, risks)
    known = prices[np.isfinite(prices)]
    return float(np.median(known)) if len(known) else None


def cheapest_risk(
    systems: Sequence[SystemFacts],
    *,
    today: date,
    emptying_cost: float,
    year_over_price: float,
    prior: Prior = BOOK_PRIOR,
) -> float | None:
    """The accepted risk that costs a typical system least, by the price of a year over.

    The median over all systems of P(over) at their cheapest date; None if none can be forecast.
    """
    sound = [facts for facts in systems if not faults_of(facts, today)]
    if not sound:
        return None
    passage, start = _passage(sound, prior)
    use = cheapest_use(passage, start, emptying_cost, year_over_price)
    chance = passage.probability(np.where(np.isfinite(use), use, passage.time)[:, None])[:, 0]
    return float(np.median(np.where(np.isfinite(use), chance, 1.0)))


def _passage(systems: Sequence[SystemFacts], prior: Prior) -> tuple[Passage, Floats]:
    columns = columns_of([row_of(facts, prior) for facts in systems])
    posterior = learn(columns, prior)
    return first_passage(columns, posterior), posterior.cycle_start
