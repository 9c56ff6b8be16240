"""The date that is due: accepted risk, ceilings, overrides, and which of them binds."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from datetime import date, timedelta
from enum import StrEnum

from servicing.forecasting.facts import Ceiling, SystemFacts


class BindingRule(StrEnum):
    """What decides a due date."""

    RISK = "risk"
    COST = "cost"
    MEASURED_OVER = "measured_over"
    CEILING_LAW = "ceiling_law"
    CEILING_AGREEMENT = "ceiling_agreement"
    CEILING_MANUFACTURER = "ceiling_manufacturer"
    CEILING_OTHER = "ceiling_other"
    OVERRIDE = "override"
    HORIZON = "horizon"


CEILINGS = {
    "law": BindingRule.CEILING_LAW,
    "agreement": BindingRule.CEILING_AGREEMENT,
    "manufacturer": BindingRule.CEILING_MANUFACTURER,
}


def months_after(day: date, months: float) -> date:
    """The same day so many months on, the last of the month if there is none."""
    whole = int(months)
    year, month = divmod(day.year * 12 + day.month - 1 + whole, 12)
    landed = date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
    return landed + timedelta(days=round((months - whole) * 365.25 / 12))


def earliest_ceiling(start: date, ceilings: Sequence[Ceiling]) -> tuple[date, BindingRule] | None:
    """The first ceiling reached, counted from the start of the cycle."""
    dates = [
        (
            months_after(start, ceiling.months),
            CEILINGS.get(ceiling.basis, BindingRule.CEILING_OTHER),
        )
        for ceiling in ceilings
    ]
    return min(dates, default=None)


def due_date(
    facts: SystemFacts, start: date, risk_date: date | None, found_over: date | None
) -> tuple[date | None, BindingRule]:
    """The due date and the rule that binds.

    ``start`` of the cycle, ``risk_date`` on which the accepted risk is reached or that costs least
    (None: beyond the horizon), ``found_over`` the day a dip found it over the trigger. A forecast never goes past
    a ceiling; only a recorded override with its reason does.
    """
    if facts.override is not None and facts.override.due_on >= start:
        return facts.override.due_on, BindingRule.OVERRIDE
    by_cost = facts.year_over_price is not None
    due, rule = risk_date, BindingRule.COST if by_cost else BindingRule.RISK
    if found_over is not None:
        due, rule = found_over, BindingRule.MEASURED_OVER
    ceiling = earliest_ceiling(start, facts.ceilings)
    if ceiling is not None and (due is None or ceiling[0] < due):
        return ceiling
    if due is None:
        return None, BindingRule.HORIZON
    return due, rule
