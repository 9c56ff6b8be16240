"""The cheapest day of one small problem, by trying every way to drive it.

Shares nothing with the planner but the facts: it enumerates which tanker takes which jobs in
which order, tips before any job or at the end, and takes the latest start that keeps the end.
No breaks, no day costs, one works.
"""

from __future__ import annotations

import math
from itertools import combinations, pairwise, permutations, product

from scheduler.routing.problem import Problem, Tanker
from tests.scheduler.routing.problems import MONDAY, table_of


def cheapest_pence(problem: Problem) -> float:
    """Driving cost plus the value of optional jobs left out; required jobs must be in."""
    jobs = [job.id for job in problem.jobs]
    cheapest = Cheapest(problem)
    best = math.inf
    for owner in product(range(len(problem.tankers) + 1), repeat=len(jobs)):
        missed = [job for job, who in zip(jobs, owner, strict=True) if who == 0]
        if any(problem.job(job).required for job in missed):
            continue
        cost = float(sum(problem.job(job).value_pence for job in missed))
        for number, tanker in enumerate(problem.tankers, start=1):
            mine = frozenset(job for job, who in zip(jobs, owner, strict=True) if who == number)
            cost += cheapest.of(tanker, mine)
        best = min(best, cost)
    return best


class Cheapest:
    """The cheapest round of a tanker for a set of jobs, remembered."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.table = table_of(problem)
        self.row = self.table.index()
        self.known: dict[tuple[str, frozenset[str]], float] = {}

    def of(self, tanker: Tanker, jobs: frozenset[str]) -> float:
        if not jobs:
            return 0.0
        key = (tanker.id, jobs)
        if key not in self.known:
            self.known[key] = self._extended(tanker, [], jobs, math.inf)
        return self.known[key]

    def _extended(
        self, tanker: Tanker, begun: list[str], left: frozenset[str], best: float
    ) -> float:
        """The cheapest way to go on from an order begun, if cheaper than the best known.

        An order is dropped only when what is driven, and the least any job left can add,
        already cost as much, or when it is already too late or too full.
        """
        least = sum(self.least(tanker, job) for job in left)
        if begun and self.cost(tanker, begun, part=True) + least >= best:
            return best
        if not left:
            return min(best, self.cost(tanker, [*begun, "works"]))
        for job in sorted(left):
            rest = left - {job}
            best = self._extended(tanker, [*begun, job], rest, best)
            if begun:
                best = self._extended(tanker, [*begun, "works", job], rest, best)
        return best

    def least(self, tanker: Tanker, job: str) -> float:
        """The least a job can add: the shortest leg to it and the time on site."""
        legs = [self.leg(place, job) for place in self.table.ids if place != job]
        metres, seconds = min(legs)
        seconds += self.problem.job(job).service_seconds
        return metres * tanker.pence_per_km / 1000 + seconds * tanker.pence_per_hour / 3600

    def leg_pence(self, tanker: Tanker, start: str, end: str) -> float:
        metres, seconds = self.leg(start, end)
        return metres * tanker.pence_per_km / 1000 + seconds * tanker.pence_per_hour / 3600

    def leg(self, start: str, end: str) -> tuple[int, int]:
        pair = self.row[start], self.row[end]
        return int(self.table.metres[pair]), int(self.table.seconds[pair])

    def cost(self, tanker: Tanker, order: list[str], *, part: bool = False) -> float:
        """Pence of one order, or infinity when it breaks a rule; a part is not yet home."""
        works = self.problem.works[0]
        load, metres, charges = 0, 0, 0.0
        stops = []  # (drive, earliest, latest, service)
        way = ["yard", *order] if part else ["yard", *order, "yard"]
        for before, here in pairwise(way):
            leg_metres, leg_seconds = self.leg(before, here)
            metres += leg_metres
            if here == works.id:
                charges += works.charge_pence_per_visit + load / 1000 * works.charge_pence_per_m3
                load = 0
                last = works.closes_seconds - works.service_seconds
                stops.append((leg_seconds, works.opens_seconds, last, works.service_seconds))
            elif here == "yard":
                stops.append((leg_seconds, 0, tanker.latest_end_seconds, 0))
            else:
                job = self.problem.job(here)
                load += job.litres
                if load > tanker.capacity_litres:
                    return math.inf
                windows = job.start_windows(MONDAY)
                stops.append((leg_seconds, windows[0][0], windows[0][1], job.service_seconds))
        duty = shortest_duty(tanker, stops)
        if duty > tanker.duty_seconds + tanker.overtime_seconds:
            return math.inf
        overtime = max(duty - tanker.duty_seconds, 0) * tanker.overtime_pence_per_hour / 3600
        driving = metres * tanker.pence_per_km / 1000 + duty * tanker.pence_per_hour / 3600
        return driving + overtime + charges + tanker.fixed_pence_per_day


def shortest_duty(tanker: Tanker, stops: list[tuple[int, int, int, int]]) -> float:
    """Duty when leaving as late as the earliest possible end allows; infinity when late."""
    latest, after = tanker.latest_end_seconds, 0
    limits: list[int] = []
    for drive, _, last, service in reversed(stops):
        latest = min(last, latest - after - service) if limits else min(last, latest)
        limits.append(latest)
        after = drive
    leave_by = latest - after
    now = tanker.shift_start_seconds
    if leave_by < now:
        return math.inf
    end = run(now, stops)
    low, high = now, leave_by
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if run(middle, stops) <= end else (low, middle - 1)
    return end - low if end < math.inf else math.inf


def run(now: float, stops: list[tuple[int, int, int, int]]) -> float:
    for drive, earliest, last, service in stops:
        now = max(now + drive, earliest)
        if now > last:
            return math.inf
        now += service
    return now


def cheapest_day_without_windows(problem: Problem) -> float:
    """The least pence in which one tanker does all jobs when nothing but the tank limits it.

    Every split of the jobs into trips and every order within a trip is tried; with no window
    to wait for, a day costs what its legs, stops and charges cost.
    """
    tanker, works = problem.tankers[0], problem.works[0]
    cheapest = Cheapest(problem)
    jobs = [job.id for job in problem.jobs]
    trips = trip_costs(cheapest, tanker, jobs)
    best = {frozenset[str](): 0.0}
    for size in range(1, len(jobs) + 1):
        for chosen in combinations(jobs, size):
            done = frozenset(chosen)
            best[done] = min(
                best[done - trip] + cost["yard" if trip == done else works.id]
                for trip, cost in trips.items()
                if trip <= done
            )
    home = cheapest.leg_pence(tanker, works.id, "yard")
    return best[frozenset(jobs)] + home + tanker.fixed_pence_per_day


def trip_costs(
    cheapest: Cheapest, tanker: Tanker, jobs: list[str]
) -> dict[frozenset[str], dict[str, float]]:
    """Pence of each set of jobs that fits the tank, from the yard or the works to the works."""
    problem, works = cheapest.problem, cheapest.problem.works[0]
    costs: dict[frozenset[str], dict[str, float]] = {}
    for size in range(1, len(jobs) + 1):
        for chosen in combinations(jobs, size):
            if sum(problem.job(job).litres for job in chosen) > tanker.capacity_litres:
                continue
            minutes = sum(problem.job(job).service_seconds for job in chosen)
            stops = (minutes + works.service_seconds) * tanker.pence_per_hour / 3600
            costs[frozenset(chosen)] = {
                start: stops
                + works.charge_pence_per_visit
                + min(
                    sum(
                        cheapest.leg_pence(tanker, *leg)
                        for leg in pairwise((start, *order, works.id))
                    )
                    for order in permutations(chosen)
                )
                for start in ("yard", works.id)
            }
    return costs
