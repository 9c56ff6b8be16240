"""Fifteen years of emptying by one rule or another: trips against time over the trigger."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from servicing.forecasting.accumulation import BOOK_PRIOR, Prior
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.facts import Dip, Emptying, Spell, SystemFacts
from servicing.forecasting.fleet import learn_fleet
from servicing.forecasting.learning import learn
from servicing.forecasting.published_rates import US_GALLON_LITRES, mancl_years
from servicing.forecasting.removal_date import first_passage
from servicing.forecasting.risk_in_money import cheapest_use
from servicing.forecasting.tanks import Tank
from tests.benchmarks.forecasting_worlds import STEPS_A_YEAR, Homes, World, homes

YEARS = 15
TRIGGER = 1 / 3
START = date(2000, 1, 1)
REFITS = (1.0, 2.0, 4.0, 8.0)  # years at which the fleet is learned and all dates set anew
LONGEST = 10.0  # years between emptyings under any rule
Rule = Callable[[Homes, "Diaries", np.ndarray, float], np.ndarray]


@dataclass
class Diaries:
    """What the crews wrote down of each home: emptyings and the dips just before them."""

    emptied: list[list[float]]
    dips: list[list[tuple[float, float]]]

    def facts(self, homes: Homes, i: int) -> SystemFacts:
        return SystemFacts(
            reference=str(i),
            tank=Tank(float(homes.volume[i])),
            emptyings=tuple(Emptying(day_of(years)) for years in self.emptied[i]),
            occupancy=(Spell(date(1990, 1, 1), float(homes.reported[i]), float(homes.weeks[i])),),
            dips=tuple(Dip(day_of(years), litres=litres) for years, litres in self.dips[i]),
        )


def day_of(years: float) -> date:
    return START + timedelta(days=round(years * 365.25))


@dataclass(frozen=True)
class Outcome:
    """Emptyings a system-year, and share of the time over the trigger and over half full."""

    trips: float
    over: float
    over_half: float


def live_by(rule: Rule, world: World, n: int, seed: int) -> Outcome:
    """Let n homes live fifteen years; ``rule`` says how many years after each emptying to come."""
    drawn = homes(world, n, YEARS + 1, seed)
    diaries = Diaries([[0.0] for _ in range(n)], [[] for _ in range(n)])
    level, age = drawn.residue(), np.zeros(n)
    due = rule(drawn, diaries, np.arange(n), 0.0)
    trips = over = over_half = 0.0
    for step in range(YEARS * STEPS_A_YEAR):
        level = level + drawn.rise(age, step)
        age = age + 1 / STEPS_A_YEAR
        over += float((level > TRIGGER * drawn.volume).mean())
        over_half += float((level > 0.5 * drawn.volume).mean())
        now = (step + 1) / STEPS_A_YEAR
        if isinstance(rule, Learned) and rule.relearns(drawn, diaries, now):
            due = rule(drawn, diaries, np.arange(n), now)
        called = np.flatnonzero(age >= np.minimum(due, LONGEST) - 0.5 / STEPS_A_YEAR)
        if not len(called):
            continue
        read = drawn.dip(np.minimum(level, drawn.volume))
        for i in called:
            diaries.dips[i].append((now, float(read[i])))
            diaries.emptied[i].append(now)
        level[called], age[called] = drawn.residue()[called], 0.0
        trips += len(called) / n
        due[called] = rule(drawn, diaries, called, now)
    steps = YEARS * STEPS_A_YEAR
    return Outcome(trips / YEARS, over / steps, over_half / steps)


def every(years: float) -> Rule:
    """The same interval for everyone."""
    return lambda homes, diaries, called, now: np.full(len(called), years)


def fixed_rate(litres: float) -> Rule:
    """Persons as told times a fixed rate, until the trigger."""

    def rule(homes: Homes, diaries: Diaries, called: np.ndarray, now: float) -> np.ndarray:
        people = homes.reported[called] * homes.weeks[called] / 52
        return (TRIGGER - 0.05) * homes.volume[called] / (litres * people)

    return rule


def mancl(times: float) -> Rule:
    """Mancl's table, stretched for equal trips."""

    def rule(homes: Homes, diaries: Diaries, called: np.ndarray, now: float) -> np.ndarray:
        people = homes.reported[called] * homes.weeks[called] / 52
        gallons = homes.volume[called] / US_GALLON_LITRES
        pairs = zip(gallons, people, strict=True)
        return np.maximum(times * np.array([mancl_years(g, p) for g, p in pairs]), 0.1)

    return rule


@dataclass
class Learned:
    """Our forecasts, by accepted risk or by money; the fleet is learned again now and then."""

    risk: float | None = None
    year_over: float | None = None  # cost of a year over the trigger, in emptyings
    prior: Prior = BOOK_PRIOR

    def relearns(self, homes: Homes, diaries: Diaries, now: float) -> bool:
        """Learn the fleet if it is time to."""
        if not any(abs(now - refit) < 0.5 / STEPS_A_YEAR for refit in REFITS):
            return False
        everyone = [diaries.facts(homes, i) for i in range(len(homes)) if diaries.dips[i]]
        self.prior = learn_fleet(everyone, today=day_of(now + 1)).prior
        return True

    def __call__(
        self, homes: Homes, diaries: Diaries, called: np.ndarray, now: float
    ) -> np.ndarray:
        columns = columns_of([row_of(diaries.facts(homes, int(i)), self.prior) for i in called])
        posterior = learn(columns, self.prior)
        passage = first_passage(columns, posterior)
        if self.year_over is not None:
            use = cheapest_use(passage, posterior.cycle_start, 1.0, self.year_over)
        else:
            use = passage.quantile(np.full(len(called), self.risk))
        return np.asarray(use - posterior.cycle_start)
