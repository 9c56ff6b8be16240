"""Small invented planning problems for the tests of the planner."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from scheduler.routing.moves import check_sequence
from scheduler.routing.plan import Plan, Round
from scheduler.routing.problem import Base, Job, Problem, Tanker, Window, Works, places_of
from scheduler.routing.roads import Roads
from scheduler.routing.travel_times import StraightLine, TravelTable

MONDAY = date(2027, 3, 1)
HOUR = 3600
BASE = Base(id="yard", latitude=52.0, longitude=-3.0)
WORKS = Works(
    id="works",
    latitude=52.05,
    longitude=-3.05,
    opens_seconds=7 * HOUR,
    closes_seconds=17 * HOUR,
    tipping_seconds=1200,
    charge_pence_per_visit=1500,
)


def a_tanker(**fields) -> Tanker:
    # 2520 and 1800 pence an hour are whole hundredths of a penny a second: nothing is rounded.
    given = {
        "id": "tess",
        "base": "yard",
        "capacity_litres": 9000,
        "pence_per_km": 60,
        "pence_per_hour": 2520,
        "fixed_pence_per_day": 4000,
    }
    return Tanker(**{**given, **fields})


def a_job(number: int = 1, **fields) -> Job:
    given = {
        "id": f"job-{number}",
        "latitude": 52.0 + 0.03 * number,
        "longitude": -3.0 + 0.04 * ((number * 3) % 5 - 2),
        "litres": 3000,
        "service_seconds": 1800,
        "required": True,
    }
    return Job(**{**given, **fields})


def a_window(from_hour: float, until_hour: float, day: date = MONDAY) -> Window:
    midnight = datetime.combine(day, time())
    return Window(
        start=midnight + timedelta(hours=from_hour), end=midnight + timedelta(hours=until_hour)
    )


def a_problem(*jobs: Job, **fields) -> Problem:
    given = {
        "start": MONDAY,
        "days": 1,
        "bases": (BASE,),
        "works": (WORKS,),
        "tankers": (a_tanker(),),
        "jobs": jobs,
    }
    return Problem(**{**given, **fields})


def table_of(problem: Problem) -> TravelTable:
    return StraightLine().table(places_of(problem))


def a_round(problem: Problem, *job_ids: str, tanker: str = "tess", on: date = MONDAY) -> Round:
    roads = Roads(table_of(problem))
    check = check_sequence(
        problem, table=roads.table, tanker=tanker, on=on, job_ids=job_ids, roads=roads
    )
    return check.round


def with_stop(round_: Round, number: int, **changes) -> Round:
    stops = list(round_.stops)
    stops[number] = replace(stops[number], **changes)
    return replace(round_, stops=tuple(stops))


def rules_broken(problem: Problem, *rounds: Round) -> set[str]:
    from scheduler.routing.checker import check_plan  # noqa: PLC0415

    return {breach.rule for breach in check_plan(problem, table_of(problem), rounds)}


def planned_jobs(plan: Plan) -> set[str]:
    return {job for round_ in plan.rounds for job in round_.job_ids}


def random_jobs(seed: int, count: int, *, optional_share: float = 0.5, days: int = 1) -> list[Job]:
    chance = random.Random(seed)
    jobs = []
    for number in range(1, count + 1):
        windows: tuple[Window, ...] = ()
        if chance.random() < 0.25:
            hour = chance.choice([8, 10, 13])
            day = MONDAY + timedelta(days=chance.randrange(days))
            windows = (a_window(hour, hour + 2, day),)
        jobs.append(
            a_job(
                number,
                latitude=52.0 + chance.uniform(-0.15, 0.15),
                longitude=-3.0 + chance.uniform(-0.25, 0.25),
                litres=chance.choice([2000, 3000, 4000, 4500]),
                required=chance.random() >= optional_share,
                value_pence=chance.randrange(1000, 9000),
                windows=windows,
            )
        )
    return jobs
