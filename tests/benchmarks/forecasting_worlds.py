"""Invented worlds of septic tanks for scoring the forecasts: the truth, kept apart from the model.

Nothing here is taken from ``servicing.forecasting``. Every home differs in ways the model does not
know: persons are misreported, change unannounced, stay away; each has its own curve; years differ;
dips are read in millimetres on a lying drum. All figures are invented for the purpose.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

STEPS_A_YEAR = 26
DRUM_DIAMETER_MM = 1600.0
OUTLET_OF_DIAMETER = 0.85


@dataclass(frozen=True)
class World:
    """How tanks really fill. Rates in L/person at one year of age, errors of a dip in mm."""

    name: str = "fits"
    median_rate: float = 85.0
    rate_log_sd: float = 0.50  # with what follows about 0.55 in litres a person told, as measured
    exponent_mean: float = 0.85
    exponent_sd: float = 0.08
    backlog_per_person: float = 0.0  # litres in the first year, times the home's own factor
    misreported_log_sd: float = 0.15
    moves_a_year: float = 0.08
    move_log_sd: float = 0.35
    holiday_share: float = 0.10
    year_noise: float = 0.20
    residue_mean: float = 0.05
    residue_sd: float = 0.035
    dip_mm: float = 40.0
    dip_unevenness: float = 0.12


FITS = World()
WORLDS = (
    FITS,
    replace(
        FITS, name="straight line", median_rate=65.0, exponent_mean=1.0, exponent_sd=0.0,
        backlog_per_person=15.0,
    ),
    replace(
        FITS, name="cold backlog", median_rate=40.0, exponent_mean=1.0, exponent_sd=0.0,
        backlog_per_person=54.0,
    ),
    replace(FITS, name="dip error doubled", dip_mm=80.0, dip_unevenness=0.24),
    replace(
        FITS, name="occupancy wrong", misreported_log_sd=0.40, moves_a_year=0.15,
        move_log_sd=0.45, holiday_share=0.15,
    ),
    replace(FITS, name="rates of 150", median_rate=150.0),
)  # fmt: skip


@dataclass
class Homes:
    """n homes of one world; persons and noise by calendar year, (n, years)."""

    world: World
    volume: np.ndarray
    reported: np.ndarray
    weeks: np.ndarray
    rate: np.ndarray
    exponent: np.ndarray
    backlog: np.ndarray
    persons: np.ndarray
    noise: np.ndarray
    random: np.random.Generator = field(repr=False)

    def __len__(self) -> int:
        return len(self.volume)

    def rise(self, age: np.ndarray, step: int) -> np.ndarray:
        """Litres gained in one step (1/26 year) by tanks last emptied ``age`` years ago."""
        year = min(step // STEPS_A_YEAR, self.persons.shape[1] - 1)
        after = age + 1 / STEPS_A_YEAR
        grown = self.rate * (after**self.exponent - age**self.exponent)
        grown = grown + self.backlog * (np.minimum(after, 1) - np.minimum(age, 1))
        return self.persons[:, year] * self.noise[:, year] * grown

    def residue(self) -> np.ndarray:
        """Litres a crew leaves behind, drawn anew for each home."""
        share = self.random.normal(self.world.residue_mean, self.world.residue_sd, len(self))
        return np.maximum(share, 0.0) * self.volume

    def dip(self, level: np.ndarray) -> np.ndarray:
        """Litres a crew would report: uneven sludge, and millimetres read on a lying drum."""
        uneven = level * (1 + self.world.dip_unevenness * self.random.normal(size=len(self)))
        share = np.clip(uneven / self.volume, 0.0, 1.0)
        depth = np.interp(share, _SHARES, _DEPTHS)
        depth = depth + self.world.dip_mm * self.random.normal(size=len(self))
        read = np.interp(np.clip(depth, 0.0, _DEPTHS[-1]), _DEPTHS, _SHARES)
        return np.clip(read, 0.0, 1.0) * self.volume


def _drum() -> tuple[np.ndarray, np.ndarray]:
    """Depths in mm and share of the working volume, by adding up slices of the drum."""
    depths = np.linspace(0, OUTLET_OF_DIAMETER * DRUM_DIAMETER_MM, 2000)
    radius = DRUM_DIAMETER_MM / 2
    chord = 2 * np.sqrt(np.maximum(radius**2 - (depths - radius) ** 2, 0))
    filled = np.concatenate([[0.0], np.cumsum((chord[1:] + chord[:-1]) / 2)])
    return depths, filled / filled[-1]


_DEPTHS, _SHARES = _drum()


def homes(world: World, n: int, years: int, seed: int) -> Homes:
    """Draw n homes with ``years`` calendar years of life ahead."""
    random = np.random.default_rng([seed, 7229])
    reported = random.choice([1, 2, 3, 4, 5, 6], n, p=[0.12, 0.30, 0.22, 0.22, 0.09, 0.05])
    household = np.exp(world.rate_log_sd * random.normal(size=n))
    weeks, away = _weeks(world, n, random)
    persons = np.empty((n, years))
    now = reported * np.exp(world.misreported_log_sd * random.normal(size=n)) * away / 52
    for year in range(years):
        moved = random.random(n) < world.moves_a_year * (year > 0)
        now = np.where(moved, now * np.exp(world.move_log_sd * random.normal(size=n)), now)
        persons[:, year] = now
    noise = np.exp(world.year_noise * random.normal(size=(n, years)) - world.year_noise**2 / 2)
    exponent = random.normal(world.exponent_mean, world.exponent_sd, n)
    return Homes(
        world=world,
        volume=random.choice([2000.0, 2720.0, 3000.0, 3800.0], n),
        reported=reported.astype(float),
        weeks=weeks,
        rate=world.median_rate * household,
        exponent=np.clip(exponent, 0.6, 1.05),
        backlog=world.backlog_per_person * household,
        persons=persons,
        noise=noise,
        random=random,
    )


def _weeks(world: World, n: int, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Weeks a year as told and as lived: a share are holiday homes, told only roughly."""
    holiday = random.random(n) < world.holiday_share
    lived = np.where(holiday, random.uniform(8, 30, n), 52.0)
    told = np.where(holiday, lived * np.exp(0.25 * random.normal(size=n)), 52.0)
    return np.minimum(told, 52.0), lived


@dataclass
class OneCycle:
    """A single cycle of every home: level on yearly dip days, dips, and the day it crosses."""

    homes: Homes
    crossing: np.ndarray  # years from emptying to the trigger; ``years`` if not by then
    levels: np.ndarray  # (n, dips) true litres at 1, 2, 3 ... years
    dips: np.ndarray  # (n, dips) litres as read


def one_cycle(
    world: World, n: int, seed: int, *, share: float = 1 / 3, years: int = 60, dips: int = 3
) -> OneCycle:
    """Let n tanks fill for ``years`` after an emptying, and dip each yearly ``dips`` times."""
    drawn = homes(world, n, years, seed)
    level, trigger = drawn.residue(), share * drawn.volume
    crossing = np.full(n, float(years))
    levels, read = np.empty((n, dips)), np.empty((n, dips))
    for step in range(years * STEPS_A_YEAR):
        age = np.full(n, step / STEPS_A_YEAR)
        after = level + drawn.rise(age, step)
        crossed = (level < trigger) & (after >= trigger)
        part = (trigger - level) / np.maximum(after - level, 1e-9)
        crossing = np.where(crossed, age + part / STEPS_A_YEAR, crossing)
        level = after
        done = step + 1
        if done % STEPS_A_YEAR == 0 and done // STEPS_A_YEAR <= dips:
            column = done // STEPS_A_YEAR - 1
            levels[:, column] = level
            read[:, column] = drawn.dip(level)
    return OneCycle(drawn, crossing, levels, read)


def log_sd(values: np.ndarray) -> float:
    """Spread of the logarithm, for telling what a world is like."""
    return math.sqrt(float(np.var(np.log(values))))
