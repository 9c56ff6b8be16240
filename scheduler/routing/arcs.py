"""Locations and arc costs of the solver's model: lanes, days, charges, composite depots."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.routing.fleet import Works
from scheduler.routing.problem import Job, Problem
from scheduler.routing.roads import Roads
from scheduler.routing.search import UNITS_PER_PENNY
from scheduler.routing.suitability import unsuitable_tanker, usable_windows
from scheduler.routing.tanker_days import TankerDay

WALL = 1_000_000_000  # more than any prize: a forbidden arc is never worth its while
TYPICAL_LOAD = 0.7  # share of capacity a tip is taken to hold when works charge by volume
Matrix = NDArray[np.int64]
Windows = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class _Spot:
    """A location of the model: the place it stands at, and what it is for."""

    role: str  # place, job, start, end, break, idle
    place: str
    job: Job | None = None
    window: tuple[int, int] | None = None
    day: int | None = None


class Arcs:
    """Collects the model's locations and works out a cost and a time matrix per profile."""

    def __init__(
        self,
        problem: Problem,
        roads: Roads,
        days: tuple[TankerDay, ...],
        jobs: Sequence[Job],
    ) -> None:
        """Start with no locations; profiles follow from the tanker-days."""
        self.problem = problem
        self.roads = roads
        self.days = days
        self._spots: list[_Spot] = []
        self._known: dict[tuple[str, str, int | None], int] = {}
        self._tied = any(job.move_pence and job.planned_tanker for job in jobs)
        self._tied |= any(job.locked_tanker for job in jobs)
        keys = list(dict.fromkeys(self._key(day) for day in days))
        self._profile = {key: number for number, key in enumerate(keys)}
        self._usable: dict[tuple[str, int], Windows] = {}
        for number, key in enumerate(keys):
            day = next(each for each in days if self._key(each) == key)
            for job in jobs:
                self._usable[job.id, number] = self._windows_on(job, day)

    def _key(self, day: TankerDay) -> tuple[object, ...]:
        """Tanker-days share a profile unless some job cares which tanker comes."""
        return (day.profile_key, day.tanker.id if self._tied else None)

    def _windows_on(self, job: Job, day: TankerDay) -> Windows:
        if unsuitable_tanker(job, day.tanker) is not None:
            return ()
        return usable_windows(self.problem, job, day.tanker, day.on)

    def profile_of(self, day: TankerDay) -> int:
        """Number of the profile a tanker-day uses."""
        return self._profile[self._key(day)]

    def windows_of(self, job: Job) -> Windows:
        """Every window of the day in which some tanker could start the job, each once.

        Only one client is made of windows that differ merely by the shift they are cut to:
        the vehicle's own hours cut them again.
        """
        raw = {
            window
            for day in self.days
            if self._usable[job.id, self.profile_of(day)]
            for window in job.start_windows(day.on)
        }
        return tuple(sorted(raw))

    def _add(self, spot: _Spot, key: tuple[str, str, int | None] | None = None) -> int:
        if key is not None and key in self._known:
            return self._known[key]
        self._spots.append(spot)
        if key is not None:
            self._known[key] = len(self._spots) - 1
        return len(self._spots) - 1

    def add_place(self, place: str) -> int:
        """A works, where trips end and begin."""
        return self._add(_Spot("place", place), ("place", place, None))

    def add_job(self, job: Job, window: tuple[int, int]) -> int:
        """The location of a job in one window."""
        return self._add(_Spot("job", job.id, job=job, window=window))

    def add_break(self, number: int, place: str | None) -> int:
        """A break of one tanker-day at a place; None stands for a day at home."""
        base = self.days[number].tanker.base
        if place is None:
            return self._add(_Spot("idle", base, day=number))
        return self._add(_Spot("break", place, day=number))

    def start_location(self, day: TankerDay) -> int:
        """Where the tanker-day begins; its own location where it tips first."""
        if day.tips_first is None:
            return self._add(_Spot("start", day.start_place), ("start", day.start_place, None))
        number = self.days.index(day)
        return self._add(_Spot("start", day.start_place, day=number))

    def end_location(self, day: TankerDay) -> int:
        """The composite end of the day at the tanker's base."""
        base = day.tanker.base
        return self._add(_Spot("end", base), ("end", base, None))

    def locations(self) -> list[tuple[str, float, float]]:
        """Name and position of each location; positions only serve to draw."""
        return [(f"{spot.role} {spot.place}", 0.0, 0.0) for spot in self._spots]

    def matrices(self) -> tuple[list[Matrix], list[Matrix]]:
        """Cost and time matrices, one pair per profile."""
        rows = np.array([self.roads.row[spot.place] for spot in self._spots], dtype=np.int64)
        metres = self.roads.table.metres[np.ix_(rows, rows)]
        seconds = self.roads.table.seconds[np.ix_(rows, rows)]
        costs, times = [], []
        for number in range(len(self._profile)):
            day = next(each for each in self.days if self.profile_of(each) == number)
            cost, time = self._profile_matrices(day, number, metres, seconds)
            costs.append(cost)
            times.append(time)
        return costs, times

    def _profile_matrices(
        self, day: TankerDay, profile: int, metres: Matrix, seconds: Matrix
    ) -> tuple[Matrix, Matrix]:
        per_metre = day.tanker.pence_per_km * UNITS_PER_PENNY / 1000
        cost = np.rint(metres * per_metre).astype(np.int64)
        time = seconds.copy()
        self._set_starts(day, cost, time)
        self._set_ends(day, cost, time)
        self._add_arrival_costs(day, profile, cost)
        for number, spot in enumerate(self._spots):
            if spot.role in {"idle", "break"} and self._is_others(day, spot):
                cost[:, number] = WALL
        self._set_idle(cost, time)
        np.fill_diagonal(cost, 0)
        np.fill_diagonal(time, 0)
        return np.minimum(cost, WALL), time

    def _is_others(self, day: TankerDay, spot: _Spot) -> bool:
        assert spot.day is not None
        return self.days[spot.day] is not day

    def _set_starts(self, day: TankerDay, cost: Matrix, time: Matrix) -> None:
        """Leaving costs the day's fixed price; a tip-first start goes by its works."""
        fixed = day.tanker.fixed_pence_per_day * UNITS_PER_PENNY
        for number, spot in enumerate(self._spots):
            if spot.role != "start":
                continue
            works = day.tips_first
            if works is not None and spot.day is not None and self.days[spot.day] is day:
                via = self._via(works, day)
                row = self.roads.row
                leg = row[spot.place], row[works.id]
                onward = [row[each.place] for each in self._spots]
                per_metre = day.tanker.pence_per_km * UNITS_PER_PENNY / 1000
                to_works = self.roads.table.metres[leg]
                metres = to_works + self.roads.table.metres[row[works.id], onward]
                cost[number] = np.rint(metres * per_metre).astype(np.int64) + via
                time[number] = (
                    self.roads.table.seconds[leg]
                    + works.service_seconds
                    + self.roads.table.seconds[row[works.id], onward]
                )
            cost[number] += fixed

    def _via(self, works: Works, day: TankerDay) -> int:
        """What a visit to a works costs beyond the cheapest charge by volume, in units."""
        cheapest = min(each.charge_pence_per_m3 for each in day.works)
        dearer = works.charge_pence_per_m3 - cheapest
        by_volume = dearer * TYPICAL_LOAD * day.tanker.capacity_litres / 1000
        return round((works.charge_pence_per_visit + by_volume) * UNITS_PER_PENNY)

    def _set_ends(self, day: TankerDay, cost: Matrix, time: Matrix) -> None:
        """Into the composite end: by the cheapest works, then home. Nothing leads out of it."""
        ends = [number for number, spot in enumerate(self._spots) if spot.role == "end"]
        for end in ends:
            if day.works and not day.tanker.may_end_loaded:
                best_cost, best_time = self._cheapest_way_home(day)
                direct = [
                    number
                    for number, spot in enumerate(self._spots)
                    if spot.role in {"place", "start", "idle", "end"}
                ]
                best_cost[direct] = cost[direct, end]
                best_time[direct] = time[direct, end]
                cost[:, end], time[:, end] = best_cost, best_time
            cost[end, :] = WALL
        for number, spot in enumerate(self._spots):
            if spot.role == "start":
                for end in ends:
                    cost[number, end] = 0 if spot.place == day.tanker.base else cost[number, end]

    def _cheapest_way_home(self, day: TankerDay) -> tuple[Matrix, Matrix]:
        row, table = self.roads.row, self.roads.table
        here = [row[spot.place] for spot in self._spots]
        home = row[day.tanker.base]
        per_metre = day.tanker.pence_per_km * UNITS_PER_PENNY / 1000
        per_second = day.tanker.pence_per_hour * UNITS_PER_PENNY / 3600
        costs, times = [], []
        for works in day.works:
            there = row[works.id]
            metres = table.metres[here, there] + table.metres[there, home]
            time = table.seconds[here, there] + works.service_seconds + table.seconds[there, home]
            costs.append(np.rint(metres * per_metre).astype(np.int64) + self._via(works, day))
            times.append(time)
        value = np.array(costs) + np.array(times) * per_second
        best = np.argmin(value, axis=0)
        everyone = np.arange(len(here))
        return np.array(costs)[best, everyone], np.array(times)[best, everyone]

    def _add_arrival_costs(self, day: TankerDay, profile: int, cost: Matrix) -> None:
        """Into a job: its day's costs and its litres at the cheapest charge, or a wall."""
        cheapest = min((works.charge_pence_per_m3 for works in day.works), default=0)
        for number, spot in enumerate(self._spots):
            if spot.role == "place":
                works = self.problem.works_by_id(spot.place)
                open_today = any(each.id == works.id for each in day.works)
                cost[:, number] += self._via(works, day) if open_today else WALL
            if spot.job is None:
                continue
            windows = spot.job.start_windows(day.on)
            if not self._usable[spot.job.id, profile] or spot.window not in windows:
                cost[:, number] = WALL
                continue
            pence: float = spot.job.day_pence(day.on) + spot.job.move_cost(day.tanker.id, day.on)
            pence += spot.job.litres / 1000 * cheapest
            cost[:, number] += round(pence * UNITS_PER_PENNY)

    def _set_idle(self, cost: Matrix, time: Matrix) -> None:
        """A day at home leads only from the start to the end, at no cost and in no time."""
        roles = [spot.role for spot in self._spots]
        starts = [number for number, role in enumerate(roles) if role == "start"]
        ends = [number for number, role in enumerate(roles) if role == "end"]
        for number, role in enumerate(roles):
            if role != "idle":
                continue
            walled = cost[:, number].min() >= WALL
            cost[:, number] = WALL
            if not walled:
                cost[starts, number] = 0
            cost[number, :] = WALL
            cost[number, ends] = 0
            time[:, number] = 0
            time[number, :] = 0
