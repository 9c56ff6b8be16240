"""How fast are the forecasts? ``python -m tests.benchmarks.forecasting_speed [--systems N]``.

Two dips a system, three horizon probabilities, from what is known of each system (not from
ready-made arrays) to dates. Aim: 100,000 systems in 20 s and 1.5 GB, in proportion to their number.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable
from datetime import date, timedelta

import numpy as np

from servicing.forecasting.chambers import ChamberFacts, Look, winter_quiet_periods
from servicing.forecasting.facts import Dip, Emptying, Spell, SystemFacts
from servicing.forecasting.fleet import learn_fleet
from servicing.forecasting.forecast import forecast_systems
from servicing.forecasting.inspection_date import forecast_inspections
from servicing.forecasting.tanks import Tank

TODAY = date(2026, 1, 1)
BY = (date(2026, 7, 1), date(2027, 1, 1), date(2028, 1, 1))


def many_systems(n: int) -> list[SystemFacts]:
    """N septic tanks, dipped one and two years after they were emptied."""
    random = np.random.default_rng(2026)
    persons = random.integers(1, 7, n)
    ages = random.integers(900, 1800, n)
    return [
        SystemFacts(
            f"S{i}",
            Tank(2720.0 + 10 * (i % 100)),
            emptyings=(Emptying(emptied := TODAY - timedelta(days=int(ages[i]))),),
            occupancy=(Spell(date(2010, 1, 1), float(persons[i])),),
            dips=(
                Dip(emptied + timedelta(days=365), litres=120.0 + 70.0 * persons[i]),
                Dip(emptied + timedelta(days=731), litres=150.0 + 130.0 * persons[i]),
            ),
        )
        for i in range(n)
    ]


def many_chambers(n: int) -> list[ChamberFacts]:
    """N chambers looked into three times."""
    looks = tuple(
        Look(date(year, 5, 1), grade) for year, grade in ((2023, 0), (2024, 1), (2025, 0))
    )
    return [ChamberFacts(f"C{i}", date(2020, 1, 1), looks) for i in range(n)]


def timed(what: str, work: Callable[[], object], n: int) -> None:
    """Run once and say how long it took and the most memory held so far."""
    start, busy = time.perf_counter(), time.process_time()
    work()
    seconds, busy = time.perf_counter() - start, time.process_time() - busy
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{what}: {n} in {seconds:.1f} s, {busy:.1f} s of processor, {memory:.2f} GB")  # noqa: T201 - a command's output


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--systems", type=int, default=100_000)
    n = arguments.parse_args().systems
    systems = many_systems(n)
    for part in (n // 10, n):
        some = systems[:part]
        timed("systems", lambda s=some: forecast_systems(s, today=TODAY, by=BY), part)
    timed("fleet learned", lambda: learn_fleet(systems[:5000], today=TODAY), min(n, 5000))
    quiet = winter_quiet_periods(2020, 2040)
    chambers = many_chambers(n // 10)
    timed(
        "chambers", lambda: forecast_inspections(chambers, today=TODAY, quiet=quiet), len(chambers)
    )


if __name__ == "__main__":
    main()
