"""A forecast in sentences: what fills the tank, what was measured, what moved the date, and why."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from servicing.forecasting.due_date import BindingRule
from servicing.forecasting.facts import Kind, SystemFacts
from servicing.forecasting.outcomes import SystemForecast

Litres = Callable[[float], str]
Day = Callable[[date], str]

WHY = {
    BindingRule.RISK: "from then on the chance that it is over its limit is more than we accept",
    BindingRule.COST: "from then on waiting would cost more, on average, than emptying it",
    BindingRule.MEASURED_OVER: "it was measured over its limit",
    BindingRule.CEILING_LAW: "the rules allow no longer interval",
    BindingRule.CEILING_AGREEMENT: "the agreement promises it by then",
    BindingRule.CEILING_MANUFACTURER: "the maker allows no longer interval",
    BindingRule.CEILING_OTHER: "a longest interval was set for it",
    BindingRule.OVERRIDE: "somebody decided so and wrote down why",
}
NUMBERS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten")


def plain_litres(litres: float) -> str:
    """Litres to the nearest ten."""
    return f"{round(litres, -1):,.0f} L"


def plain_day(day: date) -> str:
    """A day as people write it."""
    return f"{day.day} {day:%B %Y}"


def explain(
    facts: SystemFacts,
    forecast: SystemForecast,
    before: SystemForecast | None = None,
    *,
    litres: Litres = plain_litres,
    day: Day = plain_day,
) -> tuple[str, ...]:
    """Sentences for the page of one system, most important first.

    ``before`` is the forecast as it stood before the last visit; ``litres`` and ``day`` write
    amounts and dates in the reader's own way.
    """
    found = [_due(forecast, day), _fills(facts, forecast, litres)]
    if before is not None:
        found.append(_moved(facts, forecast, before, day))
    found += [question.text for question in forecast.questions]
    found += [assumption.text for assumption in forecast.assumptions]
    return tuple(sentence for sentence in found if sentence)


def _due(forecast: SystemForecast, day: Day) -> str:
    if forecast.due_on is None:
        return "Nothing calls for an emptying in the next sixty years."
    rule = BindingRule(forecast.binding_rule)
    return f"Due by {day(forecast.due_on)}: {WHY[rule]}. {_likely(forecast, day)}".strip()


def _likely(forecast: SystemForecast, day: Day) -> str:
    early, late = forecast.removal_p10, forecast.removal_p90
    if early is None or forecast.state == "over":
        return ""
    if late is None:
        return f"It is not likely to reach its limit before {day(early)}."
    return f"It is likely to reach its limit between {day(early)} and {day(late)}."


def _fills(facts: SystemFacts, forecast: SystemForecast, litres: Litres) -> str:
    yearly = forecast.rate_p50 * forecast.persons_now
    if yearly <= 0:
        return "Nobody uses it now, so nothing builds up."
    what = "sewage" if facts.kind is Kind.CESSPOOL else "sludge and scum"
    if facts.kind is Kind.GREASE_TRAP:
        return f"The kitchen leaves about {litres(yearly)} of grease and food a year."
    return f"{_people(forecast.persons_now)} about {litres(yearly)} of {what} in the first year."


def _people(persons: float) -> str:
    whole = round(persons)
    if abs(persons - whole) > 0.05:
        return f"Use like that of {persons:.1f} people all year leaves"
    if whole == 1:
        return "One person leaves"
    return f"{NUMBERS[whole] if whole < len(NUMBERS) else whole} people leave"


def _moved(facts: SystemFacts, forecast: SystemForecast, before: SystemForecast, day: Day) -> str:
    old, new = before.due_on, forecast.due_on
    if old is None or new is None or old == new:
        return ""
    move = f"the date moved from {day(old)} to {day(new)}"
    if before.since != forecast.since:
        return f"It was emptied, so {move}."
    if not facts.dips or forecast.rate_p50 == before.rate_p50:
        return f"What we know has changed, so {move}."
    last = max(dip.on for dip in facts.dips)
    than = "higher" if forecast.rate_p50 > before.rate_p50 else "lower"
    return f"The measurement of {day(last)} was {than} than expected, so {move}."
