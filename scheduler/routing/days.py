"""Several days: day by day for a first plan, then groups of days in turns, then all together.

All days in one model give the best plans, but only from a good start, and the model's
matrices grow with jobs² × tanker-days. So the first plan is made day by day; groups of a few
days are then improved side by side, dealt anew each turn; and at the end everything is
improved together where it fits in memory.
"""

import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from scheduler.routing.model import build_model, prize_of
from scheduler.routing.problem import Job, Problem
from scheduler.routing.repair import orders_pence
from scheduler.routing.roads import Roads
from scheduler.routing.search import UNITS_PER_PENNY, Effort, Watch
from scheduler.routing.solver import Order, search, search_apart
from scheduler.routing.suitability import unsuitable_tanker, usable_windows
from scheduler.routing.tanker_days import tanker_days
from scheduler.routing.timing import planned_break

JOBS_PLANNED_AT_ONCE = 120  # below this the days are planned together from nothing
FIRST_PLAN_SHARE = 0.3
LARGEST_MODEL_BYTES = 500_000_000
BYTES_A_PAIR = 2 * 2 * 8  # two matrices of integers, once here and once in the solver
MOST_DAYS_IN_A_GROUP = 5
TURNS = 4
TURNS_SHARE = 0.7
LEAST_SHARE = 0.05
MOST_WAITING_JOBS = 120
CANDIDATES_A_TANKER = 45
TYPICAL_JOB_PENCE = 10_000


@dataclass(frozen=True, slots=True)
class Days:
    """Plans the days of one problem; `jobs` are those that can be done at all."""

    problem: Problem
    roads: Roads
    jobs: Sequence[Job]
    watch: Watch

    def plan(self, effort: Effort, warm: Sequence[Order]) -> list[Order]:
        """The best orders found within the effort, starting from `warm` when there is one."""
        if len(self.problem.dates) == 1 or len(self.jobs) <= JOBS_PLANNED_AT_ONCE:
            return self.together(self.problem.dates, self.jobs, effort, warm)
        orders = list(warm)
        began, whole = time.monotonic(), effort
        if not orders:
            orders = self.day_by_day(_part(effort, FIRST_PLAN_SHARE))
            effort = _rest(whole, began, 1 - FIRST_PLAN_SHARE)
        if self.model_bytes(len(self.jobs), self.problem.dates) > LARGEST_MODEL_BYTES:
            return self.in_turns(effort, orders)
        orders = self.in_turns(_part(effort, TURNS_SHARE), orders)
        last = _rest(whole, began, 0.0) if _by_the_clock(whole) else _part(effort, 1 - TURNS_SHARE)
        return self.together(self.problem.dates, self.jobs, last, orders)

    def together(
        self, dates: Sequence[date], jobs: Sequence[Job], effort: Effort, warm: Sequence[Order]
    ) -> list[Order]:
        """All these jobs on all these days in one model."""
        model = build_model(self.problem, self.roads, jobs, dates)
        return search(model, effort, warm=warm, watch=self.watch)[0]

    def model_bytes(self, jobs: int, dates: Sequence[date]) -> int:
        """Memory of the model's matrices for so many jobs on these days."""
        breaks = any(planned_break(tanker) for tanker in self.problem.tankers)
        tanker_days = len(dates) * len(self.problem.tankers)
        copies = tanker_days * (2 + len(self.problem.works)) if breaks else 0
        locations = round(jobs * 1.1) + copies + len(self.problem.works) + tanker_days
        return locations**2 * tanker_days * BYTES_A_PAIR

    def day_by_day(self, effort: Effort) -> list[Order]:
        """Each day planned by itself, in order, with what is left of the jobs."""
        left = {job.id: job for job in self.jobs}
        orders: list[Order] = []
        share = _part(effort, 1 / len(self.problem.dates))
        for on in self.problem.dates:
            candidates = self._candidates(left.values(), on)
            if not candidates:
                continue
            prizes = {job.id: self._prize_today(job, on) for job in candidates}
            model = build_model(self.problem, self.roads, candidates, [on], prizes)
            found = search(model, share, watch=self.watch)[0]
            orders += found
            for _, visits in found:
                for visit in visits:
                    left.pop(visit.id, None)
        return orders

    def _chances(self, job: Job, on: date) -> list[date]:
        """The days from this one on that the job could be done."""
        suiting = [each for each in self.problem.tankers if unsuitable_tanker(job, each) is None]
        return [
            day
            for day in self.problem.dates
            if day >= on
            and job.start_windows(day)
            and any(usable_windows(self.problem, job, tanker, day) for tanker in suiting)
        ]

    def _candidates(self, jobs: Iterable[Job], on: date) -> list[Job]:
        """The jobs worth offering to a day: the last chances first, then the dearest to leave."""
        ranked = []
        for job in jobs:
            chances = self._chances(job, on)
            if on in chances:
                urgent = job.required and len(chances) == 1
                waiting = _cost_of_waiting(job, chances)
                ranked.append((not urgent, not job.required, -waiting, len(chances), job.id, job))
        ranked.sort(key=lambda each: each[:-1])
        return [each[-1] for each in ranked[: CANDIDATES_A_TANKER * len(self.problem.tankers)]]

    def _prize_today(self, job: Job, on: date) -> int:
        """What not doing the job today costs: all of it on the last day, a share before."""
        chances = self._chances(job, on)
        if len(chances) <= 1:
            return prize_of(job)
        today = job.day_pence(on)
        if job.required:
            pence = TYPICAL_JOB_PENCE * (1 + 2 / len(chances))
        else:
            pence = job.value_pence * (0.6 + 0.4 / len(chances))
        return round((pence + max(_cost_of_waiting(job, chances), 0) + today) * UNITS_PER_PENNY)

    def in_turns(self, effort: Effort, orders: Sequence[Order]) -> list[Order]:
        """Improve a plan a few days at a time, several groups of days at once.

        The days are dealt into groups anew for each turn, so that in time any two meet. A
        group keeps its jobs and gets its share of those that wait.
        """
        chance = np.random.default_rng(effort.seed)
        kept = list(orders)
        size = self._days_in_a_group()
        for turn in range(TURNS):
            groups = self._dealt(chance, size, shuffled=turn % 2 == 1)
            batches = math.ceil(len(groups) / effort.processes)
            share = replace(_part(effort, 1 / TURNS / batches), seed=effort.seed + turn)
            for first in range(0, len(groups), effort.processes):
                if self.watch.stopped:
                    return kept
                some = groups[first : first + effort.processes]
                kept = self._groups_improved(some, share, kept, chance)
        return kept

    def _days_in_a_group(self) -> int:
        """As many days as fit in memory, but fewer than all of them."""
        jobs = len(self.jobs)
        for size in range(min(MOST_DAYS_IN_A_GROUP, math.ceil(len(self.problem.dates) / 2)), 1, -1):
            here = round(jobs * size / len(self.problem.dates)) + MOST_WAITING_JOBS
            if self.model_bytes(here, self.problem.dates[:size]) <= LARGEST_MODEL_BYTES:
                return size
        return 1

    def _dealt(self, chance: np.random.Generator, size: int, *, shuffled: bool) -> list[list[date]]:
        """The days in groups of about this size: neighbours, or any."""
        dates = list(self.problem.dates)
        turned = int(chance.integers(len(dates)))
        dates = dates[turned:] + dates[:turned]
        if shuffled:
            chance.shuffle(dates)
        count = math.ceil(len(dates) / size)
        return [
            sorted(
                dates[number::count]
                if shuffled
                else dates[number * len(dates) // count : (number + 1) * len(dates) // count]
            )
            for number in range(count)
        ]

    def _groups_improved(
        self,
        groups: Sequence[Sequence[date]],
        effort: Effort,
        orders: Sequence[Order],
        chance: np.random.Generator,
    ) -> list[Order]:
        parts = self._parts(groups, orders, chance)
        models = [build_model(self.problem, self.roads, part.jobs, part.dates) for part in parts]
        found = search_apart(models, effort, warm=[part.orders for part in parts], watch=self.watch)
        mine = {on for part in parts for on in part.dates}
        kept = [order for order in orders if order[0].on not in mine]
        for part, new in zip(parts, found, strict=True):
            kept += self._better(part, new)
        return kept

    def _better(self, part: "_Part", found: list[Order] | None) -> list[Order]:
        """The new orders of a part where they are cheaper to drive, else the old."""
        if found is None:
            return part.orders
        old = orders_pence(self.problem, self.roads, part.orders, part.jobs)
        new = orders_pence(self.problem, self.roads, found, part.jobs)
        return found if new < old else part.orders

    def _parts(
        self, groups: Sequence[Sequence[date]], orders: Sequence[Order], chance: np.random.Generator
    ) -> list["_Part"]:
        """Each group with its orders, its jobs, and some of the jobs that wait."""
        planned = _jobs_in(orders)
        parts = []
        for dates in groups:
            inside = [order for order in orders if order[0].on in dates]
            mine = _jobs_in(inside)
            parts.append(_Part(dates, inside, [job for job in self.jobs if job.id in mine], []))
        waiting = [job for job in self.jobs if job.id not in planned]
        chance.shuffle(waiting)
        for job in sorted(waiting, key=lambda job: not job.required):
            possible = set(self._chances(job, self.problem.dates[0]))
            fitting = [part for part in parts if possible & set(part.dates)]
            if fitting:
                min(fitting, key=lambda part: len(part.waiting)).waiting.append(job)
        for part in parts:
            part.jobs += part.waiting[:MOST_WAITING_JOBS]
        return [part for part in parts if part.jobs and self._has_a_tanker(part.dates)]

    def _has_a_tanker(self, dates: Sequence[date]) -> bool:
        days = tanker_days(self.problem, self.roads, dates)
        return any(day.can_work for day in days)


@dataclass(slots=True)
class _Part:
    """Some days with their orders, the jobs in them, and jobs that wait to come in."""

    dates: Sequence[date]
    orders: list[Order]
    jobs: list[Job]
    waiting: list[Job]


def _cost_of_waiting(job: Job, chances: Sequence[date]) -> int:
    """Pence by which the next chance is dearer than the first of these days."""
    if len(chances) < 2:
        return prize_of(job) // UNITS_PER_PENNY
    return job.day_pence(chances[1]) - job.day_pence(chances[0])


def _jobs_in(orders: Iterable[Order]) -> set[str]:
    return {visit.id for _, visits in orders for visit in visits if visit.kind == "job"}


def _by_the_clock(effort: Effort) -> bool:
    return effort.seconds is not None and not effort.processor_time


def _rest(effort: Effort, began: float, share: float) -> Effort:
    """What is left: by the clock what it leaves, for building and starting took time too."""
    if effort.seconds is None or not _by_the_clock(effort):
        return _part(effort, share)
    left = effort.seconds - (time.monotonic() - began)
    return replace(effort, seconds=max(left, effort.seconds * LEAST_SHARE))


def _part(effort: Effort, share: float) -> Effort:
    return replace(
        effort,
        iterations=None if effort.iterations is None else max(round(effort.iterations * share), 1),
        seconds=None if effort.seconds is None else effort.seconds * share,
    )
