"""Published routing instances: multi-trip with time windows, and waste collection with landfill.

Sources: Yang 2023, after Cattaruzza et al. 2016 (C201R0.25, R205R0.5, RC203R0.25, best-known
values beside them), as collected in PyVRP/Instances; Kim, Kim and Sahoo 2006, Waste collection
vehicle routing problem with time windows, instance of 277 rows (Manhattan feet at 40 mph, lunch
of an hour begun between 11:00 and 12:00, 200 yards a truck, 2,200 yards and 500 stops a day).
The files stay outside the project: EBBMARK_BENCHMARKS names their folder.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
from pyvrp import ProblemData, Solution, read

from scheduler.routing.checker import check_plan
from scheduler.routing.plan import Effort, Plan, plan_rounds
from scheduler.routing.problem import Base, Job, Problem, Tanker, Works, places_of
from scheduler.routing.travel_times import Place, TravelTable

ROOT = Path(__file__).resolve().parents[2]
FEET_A_SECOND = 40 * 5280 / 3600
METRES_A_FOOT = 0.3048
METRES_A_MILE = 1609.344
KIM_DAY = date(2027, 3, 1)
MULTI_TRIP = (("C201R0.25", 0.5), ("RC203R0.25", 0.5), ("R205R0.5", 2.0))


def instances() -> Path | None:
    """The folder of the published instances, where there is one."""
    named = os.environ.get("EBBMARK_BENCHMARKS")
    folder = Path(named) if named else ROOT.parent / "shared" / "benchmarks"
    return folder if folder.is_dir() else None


def multi_trip(folder: Path, name: str) -> tuple[ProblemData, int]:
    """An instance and its best-known cost, in tenths of a unit of distance."""
    found = re.search(r"Cost:\s*(\d+)", (folder / f"{name}.sol").read_text())
    if found is None:
        message = f"{name}.sol holds no cost."
        raise ValueError(message)
    return read(folder / f"{name}.vrp", round_func="dimacs"), int(found[1])


def multi_trip_faults(data: ProblemData, solution: Solution) -> list[str]:
    """What a solution breaks, looked at again from the instance alone.

    Every customer once; each trip within capacity, begun no earlier than the release of all
    its customers; service inside the windows; all back before the depot closes.
    """
    faults = []
    seen = [
        each.idx for route in solution.routes() for each in route.schedule() if each.is_client()
    ]
    if sorted(seen) != list(range(data.num_clients)):
        faults.append("not every customer exactly once")
    for route in solution.routes():
        faults += _route_faults(
            data, [(s.is_depot(), s.idx) for s in route.schedule()], route.vehicle_type()
        )
    if sum(_length(data, route) for route in solution.routes()) != solution.distance():
        faults.append("distance does not add up")
    return faults


def _length(data: ProblemData, route: object) -> int:
    matrix = data.distance_matrix(0)
    stops = [_location(data, s.is_depot(), s.idx) for s in route.schedule()]  # type: ignore[attr-defined]
    return int(sum(matrix[a, b] for a, b in pairwise(stops)))


def _location(data: ProblemData, is_depot: bool, number: int) -> int:
    return data.depot(number).location if is_depot else data.client(number).location


def _route_faults(data: ProblemData, stops: Sequence[tuple[bool, int]], kind: int) -> list[str]:
    vehicle, travel = data.vehicle_type(kind), data.duration_matrix(0)
    now = max(vehicle.tw_early, data.depot(0).tw_early)
    trips: list[list[int]] = [[]]
    for is_depot, number in stops[1:]:
        if is_depot:
            trips.append([])
        else:
            trips[-1].append(number)
    faults = []
    for trip in trips[:-1]:
        clients = [data.client(number) for number in trip]
        if sum(each.delivery[0] for each in clients) > vehicle.capacity[0]:
            faults.append("a trip over capacity")
        now = max([now, *(each.release_time for each in clients)])
        now += data.depot(0).service_duration
        here = data.depot(0).location
        for each in clients:
            now = max(now + int(travel[here, each.location]), each.tw_early)
            if now > each.tw_late:
                faults.append("a customer too late")
            now, here = now + each.service_duration, each.location
        now += int(travel[here, data.depot(0).location])
    if now > min(vehicle.tw_late, data.depot(0).tw_late):
        faults.append("back too late")
    return faults


@dataclass(frozen=True)
class ManhattanFeet:
    """Distances along the axes between positions in feet, at 40 miles an hour."""

    feet: dict[str, tuple[float, float]]

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Metres and whole seconds, rounded up, between the places."""
        at = np.array([self.feet[place.id] for place in places])
        far = np.abs(at[:, None, :] - at[None, :, :]).sum(axis=2)
        return TravelTable(
            ids=tuple(place.id for place in places),
            metres=np.rint(far * METRES_A_FOOT).astype(np.int64),
            seconds=np.ceil(far / FEET_A_SECOND).astype(np.int64),
            source="Manhattan feet",
        )


def _trucks(count: int) -> tuple[Tanker, ...]:
    """Trucks of 200 yards with the day, the lunch and the caps of the instance."""
    return tuple(
        Tanker(
            id=f"truck {number}",
            base="depot",
            capacity_litres=400,
            shift_start_seconds=8 * 3600,
            shift_end_seconds=17 * 3600,
            pence_per_km=1000,
            break_seconds=3600,
            break_from_seconds=11 * 3600,
            break_until_seconds=12 * 3600,
            max_litres_per_day=4400,
            max_jobs_per_day=500,
        )
        for number in range(1, count + 1)
    )


def kim_277(folder: Path, *, trucks: int = 3) -> tuple[Problem, ManhattanFeet]:
    """The instance as a problem of ours: loads in half-yards, a penny a metre, no time cost."""
    feet: dict[str, tuple[float, float]] = {}
    jobs: list[Job] = []
    for line in (folder / "kim2006_277.txt").read_text().splitlines():
        cells = line.split()
        if len(cells) != 8 or not cells[0].isdigit():
            continue
        number, x, y, _, _, seconds, load, kind = cells
        name = {"0": "depot", "2": "landfill"}.get(kind, f"stop {number}")
        feet[name] = (float(x), float(y))
        if kind == "1":
            jobs.append(
                Job(
                    id=name,
                    latitude=1.0,
                    longitude=1.0,
                    litres=round(float(load) * 2),
                    service_seconds=int(seconds),
                    required=True,
                )
            )
    problem = Problem(
        start=KIM_DAY,
        days=1,
        bases=(Base(id="depot", latitude=1.0, longitude=1.0),),
        works=(Works(id="landfill", latitude=1.0, longitude=1.0, tipping_seconds=1800),),
        tankers=_trucks(trucks),
        jobs=tuple(jobs),
    )
    return problem, ManhattanFeet(feet)


def kim_miles(folder: Path, effort: Effort) -> tuple[float, Plan, int]:
    """Miles driven, the plan, and the number of breaches our checker finds in it."""
    problem, travel = kim_277(folder)
    plan = plan_rounds(problem, travel=travel, effort=effort)
    breaches = check_plan(problem, travel.table(places_of(problem)), plan.rounds)
    return plan.metres / METRES_A_MILE, plan, len(breaches)
