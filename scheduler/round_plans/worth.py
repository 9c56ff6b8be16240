"""What letting a job wait is held to cost: the reason why one goes before another.

All in pence. A job that is due must be driven to one day or another, so doing it now saves a
drive later. On top of that comes what waiting itself costs: the chance that the tank is over
its limit, day by day from the forecast, times what a day over the limit costs; and, once due,
a rise for each day somebody has waited, so that the longest overdue goes first.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scheduler.models import Job

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from servicing.models import Forecast

# None of these has a source: they are our own settings. What a year over the limit costs is what
# accepting a risk of one in ten stands for where an emptying costs 150.00 about every 2½ years
# (servicing/forecasting/risk_in_money.py has the formula; it gives about 900.00).
YEAR_OVER_PENCE = 90_000
# Sending a tanker out for one job alone: its day, two hours and some 50 km.
ALONE_PENCE = 30_000
# One more drive out, spared by taking a neighbour along early; it fades for what is far from due.
LATER_DRIVE_PENCE = 6_000
FADE_PENCE_PER_DAY = 150
# Emptied a day early, a day of the interval is given away: an emptying over about two years.
EARLY_PENCE_PER_DAY = 15
OVERDUE_PENCE_PER_DAY = 500
LONGEST_OVERDUE_DAYS = 200
# A job left out now is held to have its next chance after so many days.
NEXT_CHANCE_DAYS = 28
# From this chance on a system is held to be over its limit, and is not left for another day.
ALMOST_SURE = 0.9
DAYS_A_YEAR = 365


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What leaving a job out costs, and what each day of the horizon adds to doing it."""

    value_pence: int
    day_cost_pence: dict[dt.date, int]


def worth_of(row: Job, days: Sequence[dt.date]) -> Worth:
    """Worth of a job for a plan of these days, which run on without a gap."""
    first, last = days[0], days[-1]
    chances = list(_chances(row, first, (last - first).days + NEXT_CHANCE_DAYS))
    a_day = YEAR_OVER_PENCE / DAYS_A_YEAR
    waited = [0.0]
    for number, chance in enumerate(chances):
        day = first + dt.timedelta(days=number)
        risen = _overdue_pence(row, day + dt.timedelta(days=1)) - _overdue_pence(row, day)
        waited.append(waited[-1] + chance * a_day + risen)
    return Worth(
        value_pence=round(_going_now(row, last) + _overdue_pence(row, first) + waited[-1]),
        day_cost_pence={
            day: round(waited[number]) + _given_away(row, day) for number, day in enumerate(days)
        },
    )


def _going_now(row: Job, last: dt.date) -> int:
    """The drive that has to be made sooner or later."""
    days_early = (row.due_on - last).days
    if days_early <= 0:
        return max(row.value_pence, ALONE_PENCE)
    return max(LATER_DRIVE_PENCE - FADE_PENCE_PER_DAY * days_early, 0)


def _overdue_pence(row: Job, day: dt.date) -> int:
    return OVERDUE_PENCE_PER_DAY * min(max((day - row.due_on).days, 0), LONGEST_OVERDUE_DAYS)


def _given_away(row: Job, day: dt.date) -> int:
    return EARLY_PENCE_PER_DAY * max((row.due_on - day).days, 0)


def _chances(row: Job, first: dt.date, count: int) -> Iterator[float]:
    for number in range(count):
        yield chance_over(forecast_of(row), first + dt.timedelta(days=number)) or 0.0


def forecast_of(row: Job) -> Forecast | None:
    """The forecast an emptying comes from; None for other work and where there is none."""
    return getattr(row.system, "forecast", None) if row.kind == Job.Kind.EMPTYING else None


def chance_over(forecast: Forecast | None, day: dt.date) -> float | None:
    """Chance that the system is over its limit on a day; None where none is forecast.

    Between the days of the forecast it runs straight, outside them the nearest holds.
    """
    if forecast is None or not forecast.over_risk:
        return None
    days = sorted(forecast.over_risk)
    chances = [float(forecast.over_risk[each]) for each in days]
    place = bisect_left(days, day.isoformat())
    if place in {0, len(days)}:
        return chances[min(place, len(days) - 1)]
    before, after = (dt.date.fromisoformat(each) for each in days[place - 1 : place + 1])
    part = (day - before).days / (after - before).days
    return chances[place - 1] + part * (chances[place] - chances[place - 1])


def may_not_wait(row: Job, last: dt.date) -> bool:
    """Whether it must be done whatever it costs: urgent, a ceiling, wanted by hand, a sure overflow.

    A lesser risk forbids nothing: it is weighed in money, and the most pressing goes first.
    """
    if row.urgent:
        return True
    forecast = forecast_of(row)
    if forecast is None or forecast.due_on is None:
        return row.required and row.due_on <= last
    ceiling = forecast.ceiling_on is not None and forecast.ceiling_on <= last
    wanted_earlier = row.required and row.due_on < forecast.due_on and row.due_on <= last
    return ceiling or wanted_earlier or (chance_over(forecast, last) or 0.0) >= ALMOST_SURE


def pressing_words(row: Job, day: dt.date) -> str:
    """How pressing a job is on a day, in words: `173 days overdue, almost surely over its limit`."""
    overdue = (day - row.due_on).days
    said = [] if overdue <= 0 else [f"{overdue} day{'s' if overdue > 1 else ''} overdue"]
    chance = chance_over(forecast_of(row), day)
    if chance is not None and chance >= ALMOST_SURE:
        said.append("almost surely over its limit")
    elif chance is not None and chance >= 0.5:
        said.append("more likely than not over its limit")
    elif chance is not None and chance >= 0.05:
        said.append(f"over its limit with a chance of {round(chance * 100)} in 100")
    return ", ".join(said)
