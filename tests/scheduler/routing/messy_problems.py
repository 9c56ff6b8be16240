"""Problems with everything in them at once, drawn from a seed: what real fleets look like."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from typing import Any

from scheduler.routing.driver_hours import REGIMES
from scheduler.routing.problem import Job, Problem, Tanker, TankerStart, Works
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    WORKS,
    a_problem,
    a_tanker,
    random_jobs,
)


def a_messy_problem(seed: int) -> Problem:
    """Mixed wastes, locks, lanes, splits, closures, caps, regimes, and a tanker already out."""
    chance = random.Random(seed)
    days = chance.choice([1, 1, 2, 4])
    jobs = random_jobs(seed, chance.randrange(25), days=days)
    return a_problem(
        *(_messy_job(chance, job, days) for job in jobs),
        days=days,
        works=_works(chance),
        tankers=(_tanker(chance, "a"), _tanker(chance, "b")),
        starts=(_start(chance),) if chance.random() < 0.3 else (),
    )


def _messy_job(chance: random.Random, job: Job, days: int) -> Job:
    day = MONDAY + timedelta(days=chance.randrange(days))
    changes: list[tuple[float, dict[str, Any]]] = [
        (0.15, {"waste": "cesspool"}),
        (0.1, {"locked_tanker": chance.choice("ab")}),
        (0.1, {"locked_on": day}),
        (0.1, {"max_width_m": chance.choice([2.0, 2.3])}),
        (0.1, {"litres": chance.choice([0, 9000, 20_000])}),
        (0.1, {"may_split": True}),
        (0.05, {"service_seconds": chance.choice([0, 6 * HOUR])}),
        (0.2, {"due": day, "late_pence_per_day": 500}),
        (0.1, {"planned_tanker": chance.choice("ab"), "move_pence": 1000}),
        (0.1, {"latitude": job.latitude + chance.uniform(-1, 1)}),
        (0.1, {"day_from_seconds": 10 * HOUR, "day_until_seconds": 12 * HOUR}),
    ]
    for share, fields in changes:
        if chance.random() < share:
            job = replace(job, **fields)
    return job


def _works(chance: random.Random) -> tuple[Works, ...]:
    near = replace(
        WORKS,
        opens_seconds=chance.choice([0, 7, 9]) * HOUR,
        closes_seconds=chance.choice([14, 17, 24]) * HOUR,
        closed_on=frozenset({MONDAY}) if chance.random() < 0.2 else frozenset(),
        accepts=frozenset({""}) if chance.random() < 0.3 else frozenset(),
        hours=chance.choice([(), (None, *[(8 * HOUR, 15 * HOUR)] * 6)]),
    )
    far = Works(
        id="far works",
        latitude=52.2,
        longitude=-3.2,
        charge_pence_per_m3=chance.choice([0, 900]),
        closes_seconds=chance.choice([12, 16, 24]) * HOUR,
    )
    return (near, far)[: chance.choice([1, 2])]


def _tanker(chance: random.Random, name: str) -> Tanker:
    return a_tanker(
        id=name,
        capacity_litres=chance.choice([5000, 9000, 14_000]),
        shift_start_seconds=chance.choice([5, 7, 9]) * HOUR,
        shift_end_seconds=chance.choice([14, 17, 19]) * HOUR,
        break_seconds=chance.choice([0, 1800]),
        overtime_seconds=chance.choice([0, HOUR]),
        overtime_pence_per_hour=1000,
        driver_hours=chance.choice(list(REGIMES.values())),
        may_end_loaded=chance.random() < 0.2,
        width_m=chance.choice([None, 2.2, 2.5]),
        max_jobs_per_day=chance.choice([None, None, 4]),
        max_litres_per_day=chance.choice([None, None, 20_000]),
        off=frozenset({MONDAY}) if chance.random() < 0.1 else frozenset(),
        max_week_work_seconds=chance.choice([None, None, 7 * HOUR]),
    )


def _start(chance: random.Random) -> TankerStart:
    return TankerStart(
        tanker="a",
        on=MONDAY,
        latitude=52.05,
        longitude=-3.1,
        at_seconds=chance.choice([6, 9, 13]) * HOUR,
        load_litres=chance.choice([0, 1000, 4500]),
        loaded_wastes=("",),
        on_duty_since_seconds=chance.choice([None, 5 * HOUR]),
        driven_since_break_seconds=chance.choice([0, 2 * HOUR]),
    )
