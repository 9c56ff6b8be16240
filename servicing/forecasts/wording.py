"""Why a date is what it is, in sentences for people."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from servicing.forecasting.outcomes import SystemForecast


def day_words(day: dt.date) -> str:
    """A date as people write it: 4 May 2027."""
    return f"{day.day} {day:%B %Y}"


# What binds, named for lists and tables.
BINDING_NAMES = {
    "risk": "Forecast level",
    "measured_over": "Measured over the limit",
    "ceiling_law": "Interval set by law",
    "ceiling_agreement": "Interval of the agreement",
    "ceiling_manufacturer": "Manufacturer's interval",
    "ceiling_guidance": "Interval of the guidance",
    "ceiling_override": "Recorded interval",
    "ceiling_other": "Longest interval allowed",
    "override": "Recorded decision",
    "interval": "Interval only",
    "horizon": "Nothing within sixty years",
}


def reasons(
    forecast: SystemForecast,
    *,
    kind: str,
    rule: str,
    ceiling_on: dt.date | None,
    source: str,
    risk: float,
) -> list[str]:
    """Sentences that lead from what is known to the due date."""
    lines = []
    if forecast.persons_now and forecast.rate_p50 and kind == "cesspool":
        a_day = forecast.persons_now * forecast.rate_p50 / 365.25
        lines.append(f"About {a_day:,.0f} L of sewage run in a day; nothing runs out.")
    elif forecast.persons_now and forecast.rate_p50:
        a_year = forecast.persons_now * forecast.rate_p50
        lines.append(
            f"{forecast.persons_now:.3g} person-equivalents make about {a_year:,.0f} L of sludge "
            f"and scum in the first year after emptying."
        )
    lines.append(
        f"The tank is due when {forecast.trigger_litres:,.0f} L of its "
        f"{forecast.working_volume:,.0f} L are taken."
    )
    if forecast.removal_p10 and forecast.removal_p90:
        lines.append(
            f"That is likely between {day_words(forecast.removal_p10)} and "
            f"{day_words(forecast.removal_p90)}."
        )
    lines.append(binding_sentence(rule, forecast, ceiling_on=ceiling_on, source=source, risk=risk))
    return lines


def binding_sentence(
    rule: str, forecast: SystemForecast, *, ceiling_on: dt.date | None, source: str, risk: float
) -> str:
    """Which rule sets the date."""
    if rule == "risk":
        return (
            f"The date is set by the forecast: on it the odds are about {(1 - risk) / risk:.2g} "
            f"to 1 that the tank is still under its limit."
        )
    if rule == "measured_over":
        return "The last dip found the tank over its limit: empty it at the next chance."
    if rule == "override":
        return "The date is a recorded decision."
    if ceiling_on is None:
        return "Nothing known sets a date."
    words = BINDING_NAMES.get(rule, BINDING_NAMES["ceiling_other"]).lower()
    later = ""
    if forecast.removal_p50 and forecast.removal_p50 > ceiling_on:
        later = " The level alone would allow more time."
    source = source.rstrip(".")
    return f"The date is set by the {words}, {day_words(ceiling_on)}: {source}.{later}"
