"""Why a date is what it is, in sentences for people."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from servicing.forecasting.explanations import explain
from servicing.volumes import LITRES_PER_UNIT, UNIT_SIGNS

if TYPE_CHECKING:
    from servicing.forecasting.facts import SystemFacts
    from servicing.forecasting.faults import BadMeasure, Fault
    from servicing.forecasting.outcomes import SystemForecast
    from servicing.models import Forecast

Litres = Callable[[float], str]


def day_words(day: dt.date) -> str:
    """A date as people write it: 4 May 2027."""
    return f"{day.day} {day:%B %Y}"


def span_words(days: int) -> str:
    """A span of days as people say it: 3 weeks, 7 months."""
    if days < 60:
        weeks = max(1, round(days / 7))
        return f"{weeks} week{'s' if weeks > 1 else ''}"
    return f"{round(days / 30.44)} months"


def litres_words(litres: float, *, units: str = "litres") -> str:
    """A volume in the reader's units, to three figures: nobody knows sludge more closely."""
    amount = float(f"{litres / LITRES_PER_UNIT[units]:.3g}")
    return f"{amount:,.0f} {UNIT_SIGNS[units]}"


SURE = 0.97  # a chance from which odds say no more than "almost surely"
EVEN = 1.25

# What binds, named for lists and tables.
BINDING_NAMES = {
    "risk": "Forecast level",
    "cost": "Least cost",
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
    facts: SystemFacts,
    forecast: SystemForecast,
    *,
    before: SystemForecast | None,
    litres: Litres,
    late: list[str],
    binding: str,
) -> list[str]:
    """Sentences that lead from what is known to the due date; `binding` ends them."""
    bare = replace(forecast, questions=(), assumptions=())
    _due, *lines = explain(facts, bare, before, litres=litres, day=day_words)
    lines.append(
        f"The tank is due when {litres(forecast.trigger_litres)} of its "
        f"{litres(forecast.working_volume)} are taken."
    )
    return [*lines, *late, binding]


def odds_today(forecast: Forecast, today: dt.date) -> str:
    """How likely it is over its limit today, once the date has come; empty before."""
    chance = forecast.chance_over(today)
    if chance is None or forecast.due_on is None or forecast.due_on > today:
        return ""
    words = odds_words(chance)
    return f"Today {words}."


def odds_words(chance: float) -> str:
    """A chance of being over the limit as odds: "about 3 to 1 that it is over its limit"."""
    if chance >= SURE:
        return "it is almost surely over its limit"
    if chance <= 1.0 - SURE:
        return "it is almost surely still under its limit"
    over = chance >= 0.5
    ratio = chance / (1.0 - chance) if over else (1.0 - chance) / chance
    where = "over" if over else "still under"
    if ratio < EVEN:
        return "the odds are about even that it is over its limit"
    return f"the odds are about {_ratio_words(ratio)} that it is {where} its limit"


def _ratio_words(ratio: float) -> str:
    if ratio < 1.75:
        return "3 to 2"
    return f"{ratio:.0f} to 1" if ratio >= 2.5 else "2 to 1"


def binding_sentence(
    rule: str, forecast: SystemForecast, *, ceiling_on: dt.date | None, source: str, risk: float
) -> str:
    """Which rule sets the date."""
    if rule == "risk":
        return (
            f"The date is set by the forecast: from then on the chance that the tank is over its "
            f"limit is more than the {risk * 100:.0f} % you accept."
        )
    if rule == "cost":
        return "The date is set by cost: from then on waiting would cost more than emptying it."
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


# Fields of the science in the words of the register.
FIELD_NAMES = {
    "installed_on": "Installed on",
    "emptyings": "Last emptied",
    "bedrooms": "Bedrooms",
    "accepted_risk": "Accepted risk",
    "year_over_price": "Cost of a year over the limit",
    "trigger": "Limit",
    "working_volume_litres": "Working volume",
    "outlet_height_mm": "Outlet height",
    "length_mm": "Length",
    "width_mm": "Width",
    "diameter_mm": "Diameter",
    "table": "Strapping table",
    "sludge_mm": "sludge",
    "scum_mm": "scum",
    "litres": "volume",
    "left_litres": "left behind",
    "persons": "people",
    "units": "number",
    "weeks_per_year": "weeks a year",
    "season": "season",
    "compartment": "compartment",
}
PART = re.compile(r"^(dips|emptyings|occupancy|ceilings)\[(\d+)\]\.?(.*)$")
LITRES_SAID = re.compile(r"\b(\d+(?:\.\d+)?) L\b")
PARTS = {
    "dips": "Dip",
    "emptyings": "Emptying",
    "occupancy": "People",
    "ceilings": "Longest interval",
}


def fault_words(fault: Fault, facts: SystemFacts, litres: Litres) -> str:
    """A fault with the field it stands in, as the register names it, in the reader's units."""
    message = LITRES_SAID.sub(lambda said: litres(float(said[1])), plain_dates(fault.message))
    return f"{_field_words(fault.field, facts)}: {message.rstrip('.')}."


def _field_words(field: str, facts: SystemFacts) -> str:
    part = PART.match(field)
    if part is None:
        return FIELD_NAMES.get(field, FIELD_NAMES.get(field.rpartition(".")[2], field))
    kind, index, name = part[1], int(part[2]), part[3]
    row = getattr(facts, kind)[index]
    day: dt.date | None = getattr(row, "on", None) or getattr(row, "starts", None)
    joint = "of" if kind in {"dips", "emptyings"} else "from"
    words = f"{PARTS[kind]} {joint} {day_words(day)}" if day else PARTS[kind]
    detail = "" if name in {"on", "starts"} else FIELD_NAMES.get(name, "")
    return f"{words}, {detail}" if detail else words


def plain_dates(message: str) -> str:
    """A sentence of the science with its days written as people write them."""
    return re.sub(
        r"\b(\d{4})-(\d{2})-(\d{2})\b",
        lambda day: day_words(dt.date(int(day[1]), int(day[2]), int(day[3]))),
        message,
    )


def measure_words(wrong: BadMeasure) -> str:
    """A measure of the tank that cannot be, with the field it stands in."""
    name = FIELD_NAMES.get(wrong.field, wrong.field)
    return f"{name}: {str(wrong).removeprefix(wrong.field).strip().rstrip('.')}."
