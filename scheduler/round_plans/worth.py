"""What letting a job wait is held to cost: the reason why one goes before another.

All in pence. A job that is due must be driven to one day or another, so doing it now saves a
drive later. On top of that comes what waiting itself costs: the chance that the tank is over
its limit, day by day from the forecast, times what a day over the limit costs; and, once due,
a rise for each day somebody has waited, so that the longest overdue goes first.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scheduler.models import Job

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from servicing.models import Forecast

    from .prices import Prices

# None of these has a source: they are our own settings.
# One more drive out, spared by taking a neighbour along early, as a share of a drive for it
# alone; it fades for what is far from due.
SPARED_SHARE = 0.2
FADES_IN_DAYS = 40
# How long an emptying lasts where the forecast does not say.
USUAL_INTERVAL_DAYS = 913
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


@dataclass(frozen=True, kw_only=True)
class Waiting:
    """What four more weeks of waiting are held to cost, part by part, in pence."""

    until: dt.date
    chance_now: float | None
    chance_then: float | None
    days_over: float
    over_pence: int
    overdue_pence: int
    drive_pence: int
    early_pence: int
    prices: Prices

    @property
    def total_pence(self) -> int:
        """All of it together; what doing it early gives away is told apart."""
        return self.over_pence + self.overdue_pence + self.drive_pence


def waiting_of(row: Job, today: dt.date, prices: Prices) -> Waiting:
    """Why this one now: what is weighed when it is left for its next chance."""
    until = today + dt.timedelta(days=NEXT_CHANCE_DAYS)
    forecast = forecast_of(row)
    days_over = sum(_chances(row, today, NEXT_CHANCE_DAYS))
    return Waiting(
        until=until,
        chance_now=chance_over(forecast, today),
        chance_then=chance_over(forecast, until),
        days_over=days_over,
        over_pence=round(days_over * prices.year_over_pence / DAYS_A_YEAR),
        overdue_pence=_overdue_pence(row, until),
        drive_pence=_going_now(row, today, prices),
        early_pence=_given_away(row, today, prices),
        prices=prices,
    )


def worth_of(row: Job, days: Sequence[dt.date], prices: Prices) -> Worth:
    """Worth of a job for a plan of these days, which run on without a gap."""
    first, last = days[0], days[-1]
    chances = list(_chances(row, first, (last - first).days + NEXT_CHANCE_DAYS))
    a_day = prices.year_over_pence / DAYS_A_YEAR
    waited = [0.0]
    for number, chance in enumerate(chances):
        day = first + dt.timedelta(days=number)
        risen = _overdue_pence(row, day + dt.timedelta(days=1)) - _overdue_pence(row, day)
        waited.append(waited[-1] + chance * a_day + risen)
    return Worth(
        value_pence=round(_going_now(row, last, prices) + _overdue_pence(row, first) + waited[-1]),
        day_cost_pence={
            day: round(waited[number]) + _given_away(row, day, prices)
            for number, day in enumerate(days)
        },
    )


def _going_now(row: Job, last: dt.date, prices: Prices) -> int:
    """The drive that has to be made sooner or later."""
    days_early = (row.due_on - last).days
    if days_early <= 0:
        return max(row.value_pence, prices.alone_pence)
    spared = SPARED_SHARE * prices.alone_pence
    return round(max(spared * (1 - days_early / FADES_IN_DAYS), 0))


def _overdue_pence(row: Job, day: dt.date) -> int:
    return OVERDUE_PENCE_PER_DAY * min(max((day - row.due_on).days, 0), LONGEST_OVERDUE_DAYS)


def _given_away(row: Job, day: dt.date, prices: Prices) -> int:
    """Emptied early, the days of the interval that are left are paid for and not used."""
    days_early = max((row.due_on - day).days, 0)
    return round(days_early * prices.emptying_pence / interval_days(row))


def interval_days(row: Job) -> int:
    """Days from one emptying of this system to the next, as forecast; else what is usual."""
    forecast = forecast_of(row)
    if forecast is None or forecast.since is None or forecast.due_on is None:
        return USUAL_INTERVAL_DAYS
    return max((forecast.due_on - forecast.since).days, 1)


def _chances(row: Job, first: dt.date, count: int) -> Iterator[float]:
    for number in range(count):
        yield chance_over(forecast_of(row), first + dt.timedelta(days=number)) or 0.0


def forecast_of(row: Job) -> Forecast | None:
    """The forecast an emptying comes from; None for other work and where there is none."""
    return getattr(row.system, "forecast", None) if row.kind == Job.Kind.EMPTYING else None


def chance_over(forecast: Forecast | None, day: dt.date) -> float | None:
    """Chance that the system is over its limit on a day; None where none is forecast."""
    return None if forecast is None else forecast.chance_over(day)


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
