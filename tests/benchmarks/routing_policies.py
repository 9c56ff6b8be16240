"""What planning by forecast is worth: 400 tanks, ten years, several seeds, five ways to decide.

One command: ``python -m tests.benchmarks.routing_policies``. Everything here is an invented
valley; no field data exist. The truth: persons by household, a rate a person with a log-normal
spread of 0.45 about a nominal value every policy knows, shocks of 20 % that change each half
year (what no policy knows), a limit of a third of the volume for septic tanks (60 %) and of
45 % of the primary chamber for small plants. The whole tank is pumped. Distances are those of
weekly rounds from one yard with a works beside it, 12 m3 at a time, nearest next and two-opt,
1.35 times the straight line. A dip costs no distance: the crew is passing within three
kilometres of the lid, and is right within 12 %. The risk taken and the weeks that neighbours
may ride along early were chosen on seeds 11 and 12, which are not among those reported.
"""

from __future__ import annotations

import argparse
import statistics
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

WEEKS_A_YEAR = 52
WARM_UP_YEARS = 4
MEASURED_YEARS = 10
TANKER_LITRES = 12_000
ROAD_FACTOR = 1.35
RATE_SPREAD = 0.45
SHOCK = 0.20
READING_ERROR = 0.12
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass
class Valley:
    """Tanks with their places, limits and true filling, all arrays by tank."""

    seed: int
    tanks: int = 400
    chance: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        """Draw the valley; the same seed is the same valley for every policy."""
        self.chance = np.random.default_rng(self.seed)
        septic = self.chance.random(self.tanks) < 0.6
        persons = self.chance.choice(
            [1, 2, 3, 4, 5, 6], self.tanks, p=[0.12, 0.3, 0.2, 0.2, 0.12, 0.06]
        )
        self.places = self.chance.normal(0, 12, (self.tanks, 2))
        self.volume = np.where(septic, 2000 + 180 * np.maximum(persons, 4), 1500 + 150 * persons)
        self.limit = np.where(septic, self.volume / 3, 0.45 * self.volume)
        self.nominal = persons * np.where(septic, 70.0, 110.0) / WEEKS_A_YEAR
        self.rate = self.nominal * np.exp(self.chance.normal(0, RATE_SPREAD, self.tanks))
        steps = (WARM_UP_YEARS + MEASURED_YEARS) * 2
        self.shocks = np.exp(self.chance.normal(0, SHOCK, (steps, self.tanks)))
        self.readings = self.chance.normal(0, READING_ERROR, (steps * 26, self.tanks))

    def filling(self, week: int) -> Floats:
        """Litres each tank gains in a week."""
        return self.rate * self.shocks[week // 26]


@dataclass
class Belief:
    """What the office knows of each tank: the last level known, when, and a rate with its spread."""

    valley: Valley
    known_level: Floats = field(init=False)
    known_week: Floats = field(init=False)
    log_rate: Floats = field(init=False)
    variance: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Begin with the nominal rate and nothing else."""
        tanks = self.valley.tanks
        self.known_level, self.known_week = np.zeros(tanks), np.zeros(tanks)
        self.log_rate = np.log(self.valley.nominal)
        self.variance = np.full(tanks, RATE_SPREAD**2)

    def risk(self, week: float) -> Floats:
        """Probability that each tank is over its limit at a week to come."""
        ahead = np.maximum(week - self.known_week, 1e-9)
        gain = np.exp(self.log_rate) * ahead
        halves = np.maximum(ahead / 26, 1)
        spread = np.hypot(
            gain * np.sqrt(self.variance + SHOCK**2 / halves), READING_ERROR * self.known_level
        )
        return normal_cdf((self.known_level + gain - self.valley.limit) / np.maximum(spread, 1e-9))

    def learn(self, which: Flags, level: Floats, week: int, *, emptied: bool) -> None:
        """Take in a level read; an emptying leaves nothing behind."""
        elapsed = week - self.known_week
        gained = level - self.known_level
        useful = which & (elapsed >= 8) & (gained > 1)
        seen = np.log(np.maximum(gained, 1) / np.maximum(elapsed, 1))
        error = (READING_ERROR * level / np.maximum(gained, 1)) ** 2 + SHOCK**2 / np.maximum(
            elapsed / 26, 1
        )
        weight = np.where(useful, self.variance / (self.variance + error), 0.0)
        self.log_rate += weight * (seen - self.log_rate)
        # The household changes slowly: what was learned is never certain for ever.
        self.variance = np.maximum(self.variance * (1 - weight), 0.02)
        self.known_level = np.where(which, 0.0 if emptied else level, self.known_level)
        self.known_week = np.where(which, week, self.known_week)


def normal_cdf(z: Floats) -> Floats:
    """The normal distribution function to 1e-5 (Abramowitz and Stegun 26.2.18, logistic form)."""
    out: Floats = 1 / (1 + np.exp(np.clip(-1.5976 * z - 0.07056 * z**3, -60, 60)))
    return out


Decide = Callable[["Valley", "Belief", int, Floats], Flags]


@dataclass(frozen=True)
class Policy:
    """How it is decided, each week, which tanks to empty, and whether passing crews dip."""

    name: str
    decide: Decide
    dips: bool = False


def every_weeks(interval: Callable[[Valley], Floats]) -> Decide:
    """Empty each tank when its interval is over."""

    def decide(valley: Valley, _belief: Belief, week: int, emptied: Floats) -> Flags:
        return week - emptied >= interval(valley)

    return decide


def by_forecast(risk: float, *, ahead_weeks: int, near_km: float, ceiling_weeks: int = 0) -> Decide:
    """Empty at a risk of being over; neighbours that fall due soon ride along."""

    def decide(valley: Valley, belief: Belief, week: int, emptied: Floats) -> Flags:
        must = belief.risk(week + 1) > risk
        if ceiling_weeks:
            must |= week - emptied >= ceiling_weeks
        if not must.any():
            return must
        soon = belief.risk(week + ahead_weeks) > risk
        if ceiling_weeks:
            soon |= week + ahead_weeks - emptied >= ceiling_weeks
        apart = np.linalg.norm(valley.places[:, None] - valley.places[None, must], axis=2).min(
            axis=1
        )
        return must | (soon & (apart <= near_km))

    return decide


@dataclass
class Outcome:
    """What ten measured years came to, by year."""

    emptyings: float = 0.0
    kilometres: float = 0.0
    starts: float = 0.0
    weeks_over: float = 0.0
    dips: float = 0.0
    trips: float = 0.0


def live(policy: Policy, seed: int) -> Outcome:
    """Ten years of one policy in one valley, after four to settle."""
    valley, out = Valley(seed), Outcome()
    belief = Belief(valley)
    chance = np.random.default_rng(seed + 1)
    emptied = -chance.integers(0, 52, valley.tanks).astype(float)
    level = -emptied * valley.rate
    belief.known_week = emptied.copy()
    over = level > valley.limit
    for week in range((WARM_UP_YEARS + MEASURED_YEARS) * WEEKS_A_YEAR):
        level = level + valley.filling(week)
        measured = week >= WARM_UP_YEARS * WEEKS_A_YEAR
        go = policy.decide(valley, belief, week, emptied)
        read = level * (1 + valley.readings[week])
        passed = dipped_in_passing(valley, belief, week, go) if policy.dips else np.zeros_like(go)
        if measured:
            out.starts += int(((level > valley.limit) & ~over).sum())
            out.weeks_over += int((level > valley.limit).sum())
            out.emptyings += int(go.sum())
            out.dips += int(passed.sum())
            driven, trips = week_driven(valley, np.flatnonzero(go))
            out.kilometres += driven
            out.trips += trips
        belief.learn(passed, read, week, emptied=False)
        belief.learn(go, read, week, emptied=True)
        level, emptied = np.where(go, 0.0, level), np.where(go, float(week), emptied)
        over = level > valley.limit
    return Outcome(*(value / MEASURED_YEARS for value in vars(out).values()))


def dipped_in_passing(valley: Valley, belief: Belief, week: int, go: Flags) -> Flags:
    """Lids within three kilometres of a job, not looked at for 13 weeks, that may matter."""
    if not go.any():
        return np.zeros_like(go)
    apart = np.linalg.norm(valley.places[:, None] - valley.places[None, go], axis=2).min(axis=1)
    stale = week - belief.known_week >= 13
    matters = belief.risk(week + 52) > 0.005
    found: Flags = ~go & stale & matters & (apart <= 3.0)
    return found


def week_driven(valley: Valley, jobs: NDArray[np.intp]) -> tuple[float, int]:
    """Kilometres and trips of one week's jobs: a tankful a trip, nearest next, then two-opt."""
    left, total, trips = list(jobs), 0.0, 0
    while left:
        here, load, trip = np.zeros(2), 0.0, [np.zeros(2)]
        while left:
            near = min(left, key=lambda job: float(np.hypot(*(valley.places[job] - here))))
            if load + valley.volume[near] > TANKER_LITRES:
                break
            left.remove(near)
            load += float(valley.volume[near])
            here = valley.places[near]
            trip.append(here)
        total += shortened([*trip, np.zeros(2)])
        trips += 1
    return total * ROAD_FACTOR, trips


def shortened(stops: list[Floats]) -> float:
    """Length of a trip after reversing every stretch that shortens it."""

    def far(a: int, b: int) -> float:
        return float(np.hypot(*(stops[a] - stops[b])))

    better = True
    while better:
        better = False
        for a in range(len(stops) - 3):
            for b in range(a + 2, len(stops) - 1):
                if far(a, b) + far(a + 1, b + 1) + 1e-9 < far(a, a + 1) + far(b, b + 1):
                    stops[a + 1 : b + 1] = stops[a + 1 : b + 1][::-1]
                    better = True
    return sum(far(a, a + 1) for a in range(len(stops) - 1))


POLICIES = (
    Policy("every 12 months", every_weeks(lambda valley: np.full(valley.tanks, 52.0))),
    Policy(
        "each at 0.7 of its nominal interval",
        every_weeks(lambda valley: 0.7 * valley.limit / valley.nominal),
    ),
    Policy("forecast, 7 %", by_forecast(0.07, ahead_weeks=26, near_km=5)),
    Policy(
        "forecast, 7 %, dips in passing", by_forecast(0.07, ahead_weeks=26, near_km=5), dips=True
    ),
    Policy(
        "the same under a ceiling of 12 months",
        by_forecast(0.07, ahead_weeks=13, near_km=5, ceiling_weeks=52),
        dips=True,
    ),
)


def main() -> None:
    """Live every policy in every valley and print means with their range over the seeds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=5)
    seeds = parser.parse_args().seeds
    results = {p.name: [live(p, seed) for seed in range(1, seeds + 1)] for p in POLICIES}
    names = ("emptyings", "kilometres", "starts", "weeks_over", "dips", "trips")
    print(f"{'a year, ' + str(seeds) + ' seeds':40s}" + "".join(f"{name:>22s}" for name in names))  # noqa: T201
    for policy in POLICIES:
        cells = []
        for name in names:
            values = [getattr(outcome, name) for outcome in results[policy.name]]
            cells.append(f"{statistics.mean(values):8.0f} ({min(values):.0f}-{max(values):.0f})")
        print(f"{policy.name:40s}" + "".join(f"{cell:>22s}" for cell in cells))  # noqa: T201
    for base in POLICIES[:2]:
        for policy in POLICIES[2:]:
            print(f"{policy.name} against {base.name}: {_changes(results, base, policy)}")  # noqa: T201


def _changes(results: dict[str, list[Outcome]], base: Policy, policy: Policy) -> str:
    told = []
    for name in ("emptyings", "kilometres", "starts", "weeks_over"):
        pairs = zip(results[policy.name], results[base.name], strict=True)
        change = [100 * (getattr(new, name) / getattr(old, name) - 1) for new, old in pairs]
        told.append(
            f"{name} {statistics.mean(change):+.0f} % ({min(change):+.0f} to {max(change):+.0f})"
        )
    return ", ".join(told)


if __name__ == "__main__":
    main()
