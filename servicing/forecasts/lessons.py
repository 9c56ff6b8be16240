"""What a fleet has taught and what its settings mean, for the manager to read."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from servicing.forecasting.accumulation import BOOK_PRIOR, EXPONENTS
from servicing.forecasting.fleet import FEWEST_FOR_OWN_STRATUM
from servicing.forecasting.inspection_date import USUAL_CHAMBERS
from servicing.forecasts.circumstances import prior_of
from servicing.forecasts.dip_worth import risk_called_for, risk_in_money
from servicing.forecasts.learning import measured_systems
from servicing.models import FleetLearning, StratumLearning

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Organisation
    from servicing.forecasting.accumulation import Prior

FEWEST_OF_A_KIND = FEWEST_FOR_OWN_STRATUM
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
class KindOfPlace:
    """What one kind of place taught, or how many more it needs; litres a person in the first year."""

    name: str
    measured: int
    own: bool
    rate: float
    dips: int
    compared: str
    curve: str


@dataclass(frozen=True, slots=True)
class RiskMeaning:
    """What the accepted risk stands for; None where it cannot be said yet."""

    in_emptyings: float | None
    pence: float | None
    called_for: float | None
    price_of_trouble_in_looks: float | None


def lesson_of(learned: FleetLearning) -> Lesson:
    """A stored lesson in the figures and words of the page."""
    change = learned.median_rate / BOOK_PRIOR.median_rate - 1.0
    return Lesson(
        rate=learned.median_rate,
        book_rate=BOOK_PRIOR.median_rate,
        # Two homes in three lie within one standard deviation.
        low_rate=learned.median_rate * math.exp(-learned.log_sd),
        high_rate=learned.median_rate * math.exp(learned.log_sd),
        compared=_compared(change),
        curve=_curve(learned.exponent_weights),
        measurements=_quality(learned.dip_error),
        chamber_years=1.0 / learned.chamber_rate,
        usual_chamber_years=1.0 / USUAL_CHAMBERS["chamber"].mean_rate,
        filter_years=1.0 / learned.filter_rate,
        usual_filter_years=1.0 / USUAL_CHAMBERS["filter"].mean_rate,
    )


def kinds_of_place(organisation: Organisation) -> list[KindOfPlace]:
    """Every kind of place with a measured system, and the lesson its forecasts begin from."""
    firm = prior_of(FleetLearning.objects.filter(organisation=organisation).first())
    rows = StratumLearning.objects.filter(organisation=organisation)
    own = {row.stratum: row for row in rows}
    measured = measured_systems(organisation)
    return [
        _kind_of_place(stratum, measured.get(stratum, 0), own.get(stratum), firm)
        for stratum in StratumLearning.Stratum
        if measured.get(stratum) or stratum in own
    ]


def _kind_of_place(
    stratum: StratumLearning.Stratum, measured: int, row: StratumLearning | None, firm: Prior
) -> KindOfPlace:
    prior = prior_of(row) if row else firm
    return KindOfPlace(
        name=stratum.label,
        measured=measured,
        own=row is not None,
        rate=prior.median_rate,
        dips=row.dips if row else 0,
        compared=_compared(prior.median_rate / firm.median_rate - 1.0, "all your tanks'"),
        curve=_curve(prior.exponent_weights),
    )


def _curve(weights: Sequence[float]) -> str:
    slope = sum(b * w for b, w in zip(EXPONENTS, weights, strict=True))
    return "nearly in a straight line" if slope > STRAIGHT else "more slowly as it settles"


def _compared(change: float, whose: str = "the book's") -> str:
    if abs(change) < SAME:
        return f"the same as {whose}"
    return f"{abs(change) * 100:.0f} % {'more' if change > 0 else 'less'} than {whose}"


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
        price_of_trouble_in_looks=organisation.year_of_trouble_price,
    )
