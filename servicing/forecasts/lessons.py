"""What a fleet has taught and what its settings mean, for the manager to read."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from servicing.forecasting.accumulation import BOOK_PRIOR, EXPONENTS
from servicing.forecasting.inspection_date import USUAL_CHAMBERS
from servicing.forecasts.dip_worth import risk_called_for, risk_in_money
from servicing.models import FleetLearning

if TYPE_CHECKING:
    from customers.models import Organisation

SAME = 0.03  # a difference nobody would notice
STRAIGHT = 0.93  # an exponent from which accumulation looks like a straight line


@dataclass(frozen=True, slots=True)
class Lesson:
    """What measurements taught; litres a person in the first year."""

    rate: float
    book_rate: float
    low_rate: float
    high_rate: float
    compared: str
    curve: str
    measurements: str
    chamber_years: float
    usual_chamber_years: float
    filter_years: float
    usual_filter_years: float


@dataclass(frozen=True, slots=True)
class RiskMeaning:
    """What the accepted risk stands for; None where it cannot be said yet."""

    in_emptyings: float | None
    pence: float | None
    called_for: float | None


def lesson_of(learned: FleetLearning) -> Lesson:
    """A stored lesson in the figures and words of the page."""
    change = learned.median_rate / BOOK_PRIOR.median_rate - 1.0
    slope = sum(b * w for b, w in zip(EXPONENTS, learned.exponent_weights, strict=True))
    return Lesson(
        rate=learned.median_rate,
        book_rate=BOOK_PRIOR.median_rate,
        # Two homes in three lie within one standard deviation.
        low_rate=learned.median_rate * math.exp(-learned.log_sd),
        high_rate=learned.median_rate * math.exp(learned.log_sd),
        compared=_compared(change),
        curve="nearly in a straight line" if slope > STRAIGHT else "more slowly as it settles",
        measurements=_quality(learned.dip_error),
        chamber_years=1.0 / learned.chamber_rate,
        usual_chamber_years=1.0 / USUAL_CHAMBERS["chamber"].mean_rate,
        filter_years=1.0 / learned.filter_rate,
        usual_filter_years=1.0 / USUAL_CHAMBERS["filter"].mean_rate,
    )


def _compared(change: float) -> str:
    if abs(change) < SAME:
        return "the same as the book's"
    return f"{abs(change) * 100:.0f} % {'more' if change > 0 else 'less'} than the book's"


def _quality(error: float) -> str:
    if abs(error - 1.0) < 0.1:
        return "about as exact as is usual"
    if error > 1.0:
        return f"less exact than is usual: {error:.1f} times the usual error"
    return f"more exact than is usual: {error:.1f} times the usual error"


def meaning_of_risk(organisation: Organisation, *, today: dt.date) -> RiskMeaning:
    """The organisation's accepted risk in money, and the risk that its own costs call for."""
    emptyings = risk_in_money(organisation, today=today)
    cost = organisation.emptying_cost_pence
    return RiskMeaning(
        in_emptyings=emptyings,
        pence=float(f"{emptyings * cost:.2g}") if emptyings and cost else None,
        called_for=risk_called_for(organisation, today=today),
    )
