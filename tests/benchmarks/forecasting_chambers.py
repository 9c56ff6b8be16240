"""Twelve years of looking into chambers, by hazard or by the calendar. The truth is invented here.

Trouble starts in each chamber at its own steady rate (Gamma-spread) and lasts until somebody looks.
Every fifth chamber is twice as bad from November to January, which the model does not know.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from servicing.forecasting.chamber_fleet import learn_chambers
from servicing.forecasting.chambers import ChamberFacts, Look
from servicing.forecasting.inspection_date import ChamberPrior, forecast_inspections

START = date(2000, 1, 1)
DAYS = 12 * 365
Interval = Callable[[ChamberFacts, date], int]


@dataclass(frozen=True)
class Looked:
    """Looks a chamber-year, share of looks that found trouble, share of time with trouble."""

    looks: float
    found: float
    troubled: float


def look_after(interval: Interval, n: int, seed: int) -> Looked:
    """Let n chambers live; ``interval`` says in how many days to look again."""
    random = np.random.default_rng([seed, 460])
    hazard = random.gamma(0.7, 0.25 / 0.7, n) / 365
    winter = random.random(n) < 0.2
    chambers = [ChamberFacts(f"C{i}", START, max_months=36) for i in range(n)]
    due = np.array([interval(chamber, START) for chamber in chambers])
    trouble = np.zeros(n, dtype=bool)
    looks = found = troubled = 0
    for day in range(1, DAYS):
        today = START + timedelta(days=day)
        rate = hazard * np.where(winter & (today.month in {11, 12, 1}), 2.0, 1.0)
        trouble |= random.random(n) < rate
        troubled += int(trouble.sum())
        for i in np.flatnonzero(due <= day):
            looks, found = looks + 1, found + int(trouble[i])
            seen = (*chambers[i].looks, Look(today, 2 if trouble[i] else 0))
            chambers[i] = ChamberFacts(f"C{i}", START, seen, max_months=36)
            trouble[i] = False
            due[i] = day + interval(chambers[i], today)
    return Looked(looks / n / (DAYS / 365), found / max(looks, 1), troubled / n / DAYS)


def by_calendar(days: int) -> Interval:
    return lambda chamber, today: days


def by_hazard(risk: float, prior: ChamberPrior | None) -> Interval:
    """Our interval at an accepted risk, pooled by a fleet's prior or the usual one."""

    def interval(chamber: ChamberFacts, today: date) -> int:
        asked = ChamberFacts(
            chamber.reference, START, chamber.looks, accepted_risk=risk, max_months=36
        )
        (forecast,) = forecast_inspections([asked], today=today, fleet=prior)
        return forecast.interval_days

    return interval


def taught_chambers(n: int, seed: int) -> ChamberPrior:
    """What n other chambers teach, looked into yearly for four years."""
    random = np.random.default_rng([seed, 320])
    hazard = random.gamma(0.7, 0.25 / 0.7, n)
    facts = []
    for i in range(n):
        found = random.random(4) < 1 - np.exp(-hazard[i])
        looks = tuple(Look(date(2001 + k, 1, 1), 2 if found[k] else 0) for k in range(4))
        facts.append(ChamberFacts(f"T{i}", START, looks))
    return learn_chambers(facts, today=date(2010, 1, 1))


def by_price(price: float, prior: ChamberPrior | None) -> Interval:
    """Our interval by what a year of trouble costs, in looks."""

    def interval(chamber: ChamberFacts, today: date) -> int:
        asked = ChamberFacts(
            chamber.reference, START, chamber.looks, trouble_price=price, max_months=36
        )
        (forecast,) = forecast_inspections([asked], today=today, fleet=prior)
        return forecast.interval_days

    return interval
