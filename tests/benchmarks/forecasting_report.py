"""How good are the forecasts? One command: ``python -m tests.benchmarks.forecasting_report``.

Everything below is scored on invented homes (``forecasting_worlds``), whose truth is richer than
the model and in five worlds contradicts it. No field data exist yet.

What was changed after seeing results on them, with seeds 5-12, 101-909 and 1202:

- in the model: the drift of a household (0.04 to 0.01 a year, five values tried), the weights of
  the exponents (a quarter to 0.15 at the ends, three tried), and the two sizes of the dip error that
  the book holds possible (nine pairs and triples tried, on seeds 81001 and 81002 too);
- in the first world itself: households' spread 0.55, 0.53, 0.51, then 0.50, so that with misreported
  persons and moves it adds up to the 0.55 of published figures, and fewer one-person homes and smaller
  tanks, so that few tanks outlast the 60 years looked at. With 0.53 the median error without a
  dip was 0.47-0.49 instead of 0.45: that figure says how unlike homes are, not how good we are.

The seeds below had no part in that.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from itertools import pairwise

import numpy as np

from servicing.forecasting.accumulation import BOOK_PRIOR, Prior
from servicing.forecasting.fleet import learn_fleet
from servicing.forecasting.learning import learn
from servicing.forecasting.removal_date import first_passage
from tests.benchmarks.forecasting_chambers import (
    by_calendar,
    by_hazard,
    by_price,
    look_after,
    taught_chambers,
)
from tests.benchmarks.forecasting_policies import (
    Learned,
    Outcome,
    Rule,
    every,
    fixed_rate,
    live_by,
    mancl,
)
from tests.benchmarks.forecasting_scores import (
    baselines,
    columns_for,
    facts_of,
    point_crps,
    quantiles_for,
    score,
    still_below,
)
from tests.benchmarks.forecasting_worlds import FITS, WORLDS, OneCycle, World, one_cycle

SEEDS = (91_001, 91_002, 91_003)
FLEET_SEEDS = (96_001, 96_002, 96_003)
FLEET_SYSTEMS = 400
LEARNED_BY = date(2010, 1, 1)
RATES = (85, 100, 120, 150, 180)
STRETCHES = (0.8, 1.0)
POLICY_SEEDS = SEEDS[:2]
YEARS_OVER = (1.0, 2.0, 4.0, 8.0, 16.0)
RISKS = (0.05, 0.10, 0.20, 0.40)


def taught(world: World, seed: int) -> Prior:
    """What 400 other homes of the same world, dipped twice each, teach."""
    fleet = one_cycle(world, FLEET_SYSTEMS, seed, years=4)
    return learn_fleet(facts_of(fleet, 2), today=LEARNED_BY).prior


def date_rows(world: World, n: int) -> Iterator[str]:
    """Coverage and error of the dates with 0-3 dips, by the book and taught by the fleet."""
    cycles = [one_cycle(world, n, seed) for seed in SEEDS]
    fleets = [taught(world, seed) for seed in FLEET_SEEDS]
    for name, priors in (("book", [BOOK_PRIOR] * len(SEEDS)), ("fleet", fleets)):
        for dips in range(4):
            scores = [
                score(cycle, dips, quantiles_for(columns_for(cycle, dips, prior), prior))
                for cycle, prior in zip(cycles, priors, strict=True)
            ]
            mean = {
                field: float(np.mean([getattr(s, field) for s in scores]))
                for field in ("coverage", "before_p10", "log_error", "bias", "crps")
            }
            yield (
                f"| {world.name} | {name} | {dips} | {mean['coverage']:.1%} |"
                f" {mean['before_p10']:.1%} | {mean['log_error']:.3f} | {mean['bias']:+.3f} |"
                f" {mean['crps']:.2f} |"
            )


def crps_rows(world: World, n: int) -> Iterator[str]:
    """Continuous ranked probability score against rules that know no doubt, years."""
    cycles = [one_cycle(world, n, seed) for seed in SEEDS]
    fleets = [taught(world, seed) for seed in FLEET_SEEDS]
    for dips in range(4):
        ours = np.mean([
            score(cycle, dips, quantiles_for(columns_for(cycle, dips, prior), prior)).crps
            for cycle, prior in zip(cycles, fleets, strict=True)
        ])  # fmt: skip
        rules = [
            {name: point_crps(cycle, dips, dates) for name, dates in baselines(cycle, dips).items()}
            for cycle in cycles
        ]
        others = " | ".join(f"{np.mean([r[name] for r in rules]):.2f}" for name in rules[0])
        yield f"| {world.name} | {dips} | {ours:.2f} | {others} |"


def oracle_rows(n: int) -> Iterator[str]:
    """Median |log error| after three dips, beside forecasters who were told the truth."""
    cycles = [one_cycle(FITS, n, seed) for seed in SEEDS]
    ours = np.mean([score(c, 3, quantiles_for(columns_for(c, 3))).log_error for c in cycles])
    yield f"| ours | {ours:.3f} | |"
    for name, curve, dips in (
        ("knows the home's true rate", False, 0),
        ("knows the home's true rate and curve", True, 0),
        ("knows the home's true rate, and has the three dips", False, 3),
    ):
        error = np.mean([_oracle_error(cycle, curve, dips) for cycle in cycles])
        yield f"| {name} | {error:.3f} | {ours / error:.2f} |"


def _oracle_error(cycle: OneCycle, curve: bool, dips: int) -> float:
    homes = cycle.homes
    told = replace(
        columns_for(cycle, dips),
        log_rate=np.log(homes.rate),
        log_rate_sd=np.full(len(homes), 0.02),
    )
    if curve:
        told = replace(told, exponents=np.repeat(homes.exponent[:, None], 3, axis=1))
    return score(cycle, 3, quantiles_for(told)).log_error


def _averaged(outcomes: list[Outcome]) -> Outcome:
    return Outcome(
        *(float(np.mean([getattr(o, f) for o in outcomes])) for f in ("trips", "over", "over_half"))
    )


def policy_rows(world: World, n: int) -> Iterator[str]:
    """Time over the trigger at equal emptyings, fifteen years."""

    def lived(make: Callable[[float], Rule], value: float) -> Outcome:
        return _averaged([live_by(make(value), world, n, seed) for seed in POLICY_SEEDS])

    money = [lived(lambda h: Learned(year_over=h), h) for h in YEARS_OVER]
    risk = [lived(lambda a: Learned(risk=a), a) for a in RISKS]
    for name, make, values in (
        ("every {:g} years", every, (2, 3)),
        ("Mancl's table x {:g}", mancl, STRETCHES),
        ("rate of {:g} L", fixed_rate, RATES),
    ):
        for value in values:
            rule = lived(make, value)
            by_money, by_risk = at_trips(money, rule.trips), at_trips(risk, rule.trips)
            yield (
                f"| {world.name} | {name.format(value)} | {rule.trips:.3f} | {rule.over:.2%} |"
                f" {_part(by_risk, rule.over)} | {_part(by_money, rule.over)} |"
            )


def _part(ours: float | None, rule: float) -> str:
    return "outside" if ours is None else f"{ours:.2%} ({ours / rule:.2f})"


def at_trips(frontier: list[Outcome], trips: float) -> float | None:
    """Time over the trigger at so many trips, on a line through the logarithms; None outside."""
    ordered = sorted(frontier, key=lambda outcome: outcome.trips)
    counts = [outcome.trips for outcome in ordered]
    if not counts[0] <= trips <= counts[-1]:
        return None
    logs = [np.log(max(outcome.over, 1e-6)) for outcome in ordered]
    return float(np.exp(np.interp(trips, counts, logs)))


def _head(*names: str) -> Iterator[str]:
    yield f"| {' | '.join(names)} |"
    yield "|---" * len(names) + "|"


def dates(n: int) -> Iterator[str]:
    """Coverage and error of the dates in every world."""
    yield from _head(
        "world",
        "prior",
        "dips",
        "in the 80 % range",
        "before it",
        "median log error",
        "bias",
        "CRPS, years",
    )
    for world in WORLDS:
        yield from date_rows(world, n)


def doubt(n: int) -> Iterator[str]:
    """CRPS in years, ours (taught by the fleet) and four rules that know no doubt."""
    yield from _head("world", "dips", "ours", "12 months", "Mancl", "nominal", "last dip")
    for world in WORLDS:
        yield from crps_rows(world, n)


def oracles(n: int) -> Iterator[str]:
    """After three dips, beside forecasters who were told the truth."""
    yield from _head("forecaster", "median log error", "ours against it")
    yield from oracle_rows(n)


def policies(n: int) -> Iterator[str]:
    """Fifteen years of emptying, at equal trips."""
    yield from _head(
        "world",
        "rule",
        "emptyings a system-year",
        "time over",
        "ours by risk at equal trips (part)",
        "ours by money (part)",
    )
    for world in (FITS, WORLDS[-1]):
        yield from policy_rows(world, n)


def chances(n: int) -> Iterator[str]:
    """P(over within 12 months) after two dips against what happened, first world."""
    yield from _head("said", "mean said", "happened", "systems")
    said, happened = [], []
    for seed in SEEDS:
        cycle = one_cycle(FITS, n, seed)
        columns = columns_for(cycle, 2)
        passage = first_passage(columns, learn(columns))
        kept = still_below(cycle, 2)
        said.append(passage.probability(passage.time[:, None] + 1.0)[kept, 0])
        happened.append((cycle.crossing <= 3.0)[kept])
    chance, came = np.concatenate(said), np.concatenate(happened)
    edges = np.array([0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 1.0])
    for low, high in pairwise(edges):
        some = (chance >= low) & (chance < high)
        yield (
            f"| {low:.0%}-{high:.0%} | {chance[some].mean():.1%} | {came[some].mean():.1%} |"
            f" {int(some.sum())} |"
        )
    brier, rate = float(((chance - came) ** 2).mean()), float(came.mean())
    yield f"\nBrier score {brier:.3f}; saying {rate:.1%} to everyone {rate * (1 - rate):.3f}."


def chambers(n: int) -> Iterator[str]:
    """Twelve years of looking into chambers that differ much (forecasting_chambers)."""
    yield from _head("rule", "looks a chamber-year", "looks that found trouble", "time troubled")
    n = min(n, 300)
    prior = taught_chambers(300, SEEDS[1])
    for name, rule in (
        ("every 12 months", by_calendar(365)),
        ("every 6 months", by_calendar(182)),
        ("10 % accepted, pooled", by_hazard(0.10, prior)),
        ("20 % accepted, pooled", by_hazard(0.20, prior)),
        ("a year of trouble costs 4 looks, pooled", by_price(4.0, prior)),
        ("a year of trouble costs 8 looks, pooled", by_price(8.0, prior)),
        ("a year of trouble costs 8 looks, usual values", by_price(8.0, None)),
    ):
        seen = look_after(rule, n, SEEDS[0])
        yield f"| {name} | {seen.looks:.2f} | {seen.found:.1%} | {seen.troubled:.1%} |"


PARTS = {
    "dates": dates,
    "doubt": doubt,
    "oracles": oracles,
    "chances": chances,
    "chambers": chambers,
    "policies": policies,
}


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--part", choices=PARTS, action="append")
    arguments.add_argument("--homes", type=int, default=6000)
    arguments.add_argument("--policy-homes", type=int, default=400)
    chosen = arguments.parse_args()
    for part in chosen.part or PARTS:
        homes = chosen.policy_homes if part == "policies" else chosen.homes
        print(f"\n## {PARTS[part].__doc__} {homes} homes a seed.")  # noqa: T201
        for line in PARTS[part](homes):
            print(line, flush=True)  # noqa: T201 - a command's output


if __name__ == "__main__":
    main()
