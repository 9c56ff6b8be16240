"""When to look into a chamber again: a Gamma-Poisson hazard, pooled over the fleet.

Debris that holds the flow back (grade 2 or 3) starts at rate h a year. For each chamber
h ~ Gamma(a, a / m), m the fleet's mean. A look after d years, left clear the time before, finds
trouble with chance 1 - exp(-h d). Grade 1 counts as a third of an event (judgement, no source).
The posterior of h is computed on a grid, because "at least one in d years" is not a count; the
next look is due when the chance of trouble reaches the accepted risk, or where a year costs least
if trouble has a price, never after the longest interval, and is brought forward, never back, out of a quiet period.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from servicing.forecasting.chambers import (
    ADVICE,
    CLEAR,
    HELD_BACK,
    SOME_DEBRIS,
    Cause,
    ChamberFacts,
    Look,
    QuietPeriod,
)
from servicing.forecasting.due_date import months_after
from servicing.forecasting.faults import Assumption, Fault

Floats = npt.NDArray[np.float64]

SOME_DEBRIS_COUNTS = 1.0 / 3.0  # of an event: judgement, no source
HAZARDS = np.geomspace(0.005, 30.0, 160)  # events a year
SHORTEST_DAYS = 14
DAYS_A_YEAR = 365.25
_DAYS = np.geomspace(SHORTEST_DAYS / 2, DAYS_A_YEAR * 10, 240)
_TROUBLE = -np.expm1(-np.outer(_DAYS / DAYS_A_YEAR, HAZARDS))  # (240, 160)
# Expected years with trouble by then: t - (1 - exp(-h t)) / h.
_TROUBLED_YEARS = _DAYS[:, None] / DAYS_A_YEAR - _TROUBLE / HAZARDS


@dataclass(frozen=True, slots=True)
class ChamberPrior:
    """The fleet's chambers: mean events a year and Gamma shape; judgement until learned."""

    mean_rate: float = 0.15
    shape: float = 1.0
    chambers: int = 0


USUAL_CHAMBERS = {"chamber": ChamberPrior(0.15, 1.0), "filter": ChamberPrior(0.30, 1.5)}


@dataclass(frozen=True, slots=True)
class InspectionForecast:
    """When to look again and why. ``blocked_by_due`` is the chance of trouble by then.

    ``binding_rule`` is "risk", "cost" or "longest", whichever sets ``interval_days``.
    """

    reference: str
    due_on: date | None
    moved_from: date | None
    moved_because: str
    interval_days: int
    blocked_by_due: float
    rate_per_year: float
    likely_cause: Cause | None
    advice: str
    binding_rule: str = ""
    assumptions: tuple[Assumption, ...] = ()
    faults: tuple[Fault, ...] = ()


def forecast_inspections(
    chambers: Sequence[ChamberFacts],
    *,
    today: date,
    quiet: Sequence[QuietPeriod] = (),
    fleet: ChamberPrior | None = None,
) -> tuple[InspectionForecast, ...]:
    """The next look into each chamber or filter; faults are named, never guessed over."""
    found = []
    for chamber in chambers:
        faults = chamber_faults(chamber, today)
        if faults:
            found.append(_faulty(chamber, faults))
        else:
            weights = hazard_weights(chamber, fleet or USUAL_CHAMBERS[chamber.kind])
            found.append(_forecast(chamber, weights, quiet))
    return tuple(found)


def chamber_faults(chamber: ChamberFacts, today: date) -> list[Fault]:
    """Every fault in what is known of a chamber."""
    found: list[tuple[str, str, str]] = []
    if not 0 < chamber.accepted_risk < 1:
        found.append(("accepted_risk", "out_of_range", "must be between 0 and 1"))
    if chamber.trouble_price is not None and not 0 < chamber.trouble_price < math.inf:
        found.append(("trouble_price", "out_of_range", "must be more than 0"))
    if not 0 < chamber.max_months <= 120:
        found.append(("max_months", "out_of_range", "must be between 0 and 120 months"))
    if chamber.kind not in USUAL_CHAMBERS:
        found.append(("kind", "unknown_kind", f"{chamber.kind!r} is neither chamber nor filter"))
    if chamber.installed_on is None and not chamber.looks:
        message = "no look and no installation date: nothing to count from"
        found.append(("looks", "no_start", message))
    if chamber.installed_on is not None and chamber.installed_on > today:
        message = f"{chamber.installed_on} has not happened yet"
        found.append(("installed_on", "future_date", message))
    for index, look in enumerate(chamber.looks):
        found += [(f"looks[{index}].{f}", c, m) for f, c, m in _look_faults(chamber, look, today)]
    return [Fault(chamber.reference, field, code, message) for field, code, message in found]


def _look_faults(chamber: ChamberFacts, look: Look, today: date) -> list[tuple[str, str, str]]:
    found = []
    if look.on > today:
        found.append(("on", "future_date", f"{look.on} has not happened yet"))
    if chamber.installed_on is not None and look.on < chamber.installed_on:
        found.append(("on", "before_installation", f"{look.on} is before it was installed"))
    if look.grade not in (0, 1, 2, 3):
        found.append(("grade", "out_of_range", f"must be 0, 1, 2 or 3, not {look.grade}"))
    return found


def hazard_weights(chamber: ChamberFacts, prior: ChamberPrior) -> Floats:
    """Posterior weights of HAZARDS (160,) after all looks of one chamber."""
    shape, scale = prior.shape, prior.mean_rate / prior.shape
    log_weight = shape * np.log(HAZARDS) - HAZARDS / scale  # log-spaced: density x h
    for years, events in looks_as_counts(chamber):
        log_weight = log_weight + look_log_likelihood(years, events, HAZARDS)
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def look_log_likelihood(years: float, events: float, hazards: Floats) -> Floats:
    """Log P(a look after ``years`` finds trouble or not); ``events`` 0, 1/3 or 1."""
    found = np.log(-np.expm1(-hazards * years))
    return np.asarray(events * found - (1.0 - events) * hazards * years)


def looks_as_counts(chamber: ChamberFacts) -> list[tuple[float, float]]:
    """(years since the look before, events found), oldest first; looks of one day are one."""
    worst: dict[date, int] = {}
    for look in chamber.looks:
        worst[look.on] = max(worst.get(look.on, 0), look.grade)
    days = sorted(worst)
    before = chamber.installed_on
    counts = []
    for day in days:
        if before is not None and day > before:
            grade = worst[day]
            events = 0.0 if grade == CLEAR else SOME_DEBRIS_COUNTS
            events = 1.0 if grade >= HELD_BACK else events
            counts.append(((day - before).days / DAYS_A_YEAR, events))
        before = day
    return counts


def _faulty(chamber: ChamberFacts, faults: list[Fault]) -> InspectionForecast:
    nan = math.nan
    return InspectionForecast(
        chamber.reference, None, None, "", 0, nan, nan, None, "", faults=tuple(faults)
    )


def _forecast(
    chamber: ChamberFacts, weights: Floats, quiet: Sequence[QuietPeriod]
) -> InspectionForecast:
    last = max((look.on for look in chamber.looks), default=None)
    start = last or chamber.installed_on
    assert start is not None, "checked: no_start"
    if chamber.trouble_price is None:
        days, rule = _days_to_risk(weights, chamber.accepted_risk), "risk"
    else:
        days, rule = _cheapest_days(weights, chamber.trouble_price), "cost"
    wanted, longest = start + timedelta(days=days), months_after(start, chamber.max_months)
    if longest < wanted:
        wanted, rule = longest, "longest"
    due, because = before_quiet(wanted, quiet)
    days = (due - start).days
    cause = _likely_cause(chamber.looks)
    return InspectionForecast(
        reference=chamber.reference,
        due_on=due,
        moved_from=wanted if due != wanted else None,
        moved_because=because,
        interval_days=days,
        blocked_by_due=_chance(weights, max(days, 0) / DAYS_A_YEAR),
        rate_per_year=float(weights @ HAZARDS),
        likely_cause=cause,
        advice=ADVICE[cause] if cause else "",
        binding_rule=rule,
        assumptions=_assumptions(last, start),
    )


def _assumptions(last: date | None, start: date) -> tuple[Assumption, ...]:
    if last is not None:
        return ()
    text = f"Nobody has looked into it yet: counted from its installation on {start}."
    return (Assumption("never_looked", "looks", text),)


def _chance(weights: Floats, years: float) -> float:
    return float(weights @ -np.expm1(-HAZARDS * years))


def _days_to_risk(weights: Floats, risk: float) -> int:
    """Whole days until the chance of trouble reaches ``risk``, at least SHORTEST_DAYS."""
    chance = _TROUBLE @ weights
    days = math.floor(float(np.interp(risk, chance, _DAYS)) + 1e-6)
    return max(days, SHORTEST_DAYS)


def _cheapest_days(weights: Floats, trouble_price: float) -> int:
    """Days at which a year costs least: [1 + price x years with trouble] / years between looks."""
    cost = (1.0 + trouble_price * (_TROUBLED_YEARS @ weights)) / _DAYS
    return max(int(_DAYS[int(cost.argmin())]), SHORTEST_DAYS)


def before_quiet(due: date, quiet: Sequence[QuietPeriod]) -> tuple[date, str]:
    """The last day not later than ``due`` outside every quiet period, and what it fled from."""
    because: list[str] = []
    moved = True
    while moved:
        moved = False
        for period in quiet:
            if period.starts <= due <= period.ends:
                due = period.starts - timedelta(days=1)
                because.append(period.name)
                moved = True
    return due, ", ".join(dict.fromkeys(because))


def _likely_cause(looks: Sequence[Look]) -> Cause | None:
    graded = Counter[Cause]()
    for look in looks:
        if look.cause is not None and look.grade >= SOME_DEBRIS:
            graded[look.cause] += look.grade
    return graded.most_common(1)[0][0] if graded else None
