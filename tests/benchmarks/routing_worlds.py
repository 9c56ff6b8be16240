"""Our own planning instances, invented, from fixed seeds: a day and a fortnight of tankers."""

from __future__ import annotations

import random
from datetime import date, datetime, time, timedelta

from scheduler.routing.problem import Base, Job, Problem, Tanker, Window, Works

MONDAY = date(2027, 3, 1)
HOUR = 3600
CAPACITIES = (9000, 14_000, 12_000)
PENCE_PER_KM = (60, 75, 70)
WIDTHS = (2.2, 2.5, 2.5)


def a_day(seed: int, *, jobs: int = 60, tankers: int = 3, required: float = 0.35) -> Problem:
    """One day: more jobs than the tankers can do, a quarter of them with a promised window."""
    chance = random.Random(seed)
    made = []
    for number in range(jobs):
        windows: tuple[Window, ...] = ()
        if chance.random() < 0.25:
            windows = (_window(0, chance.choice([8, 10, 13])),)
        made.append(_job(chance, number, required=chance.random() < required, windows=windows))
    return _problem(made, days=1, tankers=tankers)


def many_days(seed: int, *, jobs: int, days: int, tankers: int) -> Problem:
    """Several days: 38 % required with dates, a tenth with two windows, lanes, lateness."""
    chance = random.Random(seed)
    made = []
    for number in range(jobs):
        required = chance.random() < 0.38
        first = chance.randrange(days)
        last = min(first + chance.randrange(2, max(days, 3)), days - 1)
        windows: tuple[Window, ...] = ()
        if chance.random() < 0.1:
            chosen = chance.sample(range(days), min(2, days))
            windows = tuple(_window(d, h) for d, h in zip(chosen, (8, 12), strict=False))
        job = _job(
            chance,
            number,
            required=required,
            windows=windows,
            due=None if windows else MONDAY + timedelta(days=last),
            earliest=MONDAY + timedelta(days=max(first - 3, 0))
            if not windows and required
            else None,
            late_pence_per_day=chance.choice([100, 200, 400]),
        )
        made.append(job)
    return _problem(made, days=days, tankers=tankers)


def _window(day: int, hour: int) -> Window:
    midnight = datetime.combine(MONDAY + timedelta(days=day), time())
    return Window(start=midnight + timedelta(hours=hour), end=midnight + timedelta(hours=hour + 3))


def _job(
    chance: random.Random, number: int, *, required: bool, windows: tuple[Window, ...],
    due: date | None = None, earliest: date | None = None, late_pence_per_day: int = 0,
) -> Job:  # fmt: skip
    return Job(
        id=f"job {number}",
        latitude=52.0 + chance.gauss(0, 0.18),
        longitude=-3.0 + chance.gauss(0, 0.28),
        litres=chance.choice([1500, 2500, 3000, 4000, 4500]),
        service_seconds=chance.choice([1500, 1800, 2400]),
        required=required,
        value_pence=chance.randrange(3000, 12_000),
        windows=windows,
        due=due,
        earliest=earliest,
        late_pence_per_day=late_pence_per_day,
        max_width_m=2.3 if chance.random() < 0.1 else None,
    )


def _problem(jobs: list[Job], *, days: int, tankers: int) -> Problem:
    hours = {"opens_seconds": 7 * HOUR, "closes_seconds": 17 * HOUR}
    return Problem(
        start=MONDAY,
        days=days,
        bases=(Base(id="yard", latitude=52.0, longitude=-3.0),),
        works=(
            Works(id="north", latitude=52.05, longitude=-3.1, charge_pence_per_visit=1500, **hours),
            Works(id="south", latitude=51.9, longitude=-2.9, charge_pence_per_visit=1000, **hours),
        ),
        tankers=tuple(
            Tanker(
                id=f"tanker {number}",
                base="yard",
                capacity_litres=CAPACITIES[number % 3],
                pence_per_km=PENCE_PER_KM[number % 3],
                pence_per_hour=2520,
                fixed_pence_per_day=5000,
                break_seconds=1800,
                width_m=WIDTHS[number % 3],
            )
            for number in range(tankers)
        ),
        jobs=tuple(jobs),
    )
