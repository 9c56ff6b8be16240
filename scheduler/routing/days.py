"""Several days: day by day for a first plan, all days together, and blocks when that is too big.

All days in one model give the best plans, but only from a good start, and the model's
matrices grow with jobs² × tanker-days. So the first plan is made day by day; then everything
is improved together where it fits in memory, and in blocks of a few days where it does not.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduler.routing.model import build_model, prize_of
from scheduler.routing.problem import Job, Problem
from scheduler.routing.repair import orders_pence
from scheduler.routing.roads import Roads
from scheduler.routing.search import UNITS_PER_PENNY, Effort, Watch
from scheduler.routing.solver import Order, search
from scheduler.routing.suitability import unsuitable_tanker, usable_windows
from scheduler.routing.timing import planned_break

JOBS_PLANNED_AT_ONCE = 120  # below this the days are planned together from nothing
FIRST_PLAN_SHARE = 0.3
LARGEST_MODEL_BYTES = 500_000_000
BYTES_A_PAIR = 2 * 2 * 8  # two matrices of integers, once here and once in the solver
DAYS_IN_A_BLOCK = 3
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
        if self.problem.days == 1 or len(self.jobs) <= JOBS_PLANNED_AT_ONCE:
            return self.together(self.problem.dates, self.jobs, effort, warm)
        orders = list(warm)
        if not orders:
            orders = self.day_by_day(_part(effort, FIRST_PLAN_SHARE))
            effort = _part(effort, 1 - FIRST_PLAN_SHARE)
        if self.model_bytes(len(self.jobs), self.problem.dates) <= LARGEST_MODEL_BYTES:
            return self.together(self.problem.dates, self.jobs, effort, orders)
        return self.in_blocks(effort, orders)

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
        share = _part(effort, 1 / self.problem.days)
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

    def in_blocks(self, effort: Effort, orders: Sequence[Order]) -> list[Order]:
        """Improve a plan block by block: a few days with their jobs and some that wait."""
        starts = range(0, self.problem.days, DAYS_IN_A_BLOCK - 1)
        blocks = [self.problem.dates[first : first + DAYS_IN_A_BLOCK] for first in starts]
        kept = list(orders)
        for block in blocks:
            kept = self._block_improved(block, _part(effort, 1 / len(blocks)), kept)
        return kept

    def _block_improved(
        self, block: Sequence[date], effort: Effort, orders: Sequence[Order]
    ) -> list[Order]:
        inside = [order for order in orders if order[0].on in block]
        outside = [order for order in orders if order[0].on not in block]
        elsewhere = _jobs_in(outside)
        mine = _jobs_in(inside)
        waiting = [job for job in self.jobs if job.id not in elsewhere and job.id not in mine]
        waiting = [job for job in waiting if set(self._chances(job, block[0])) & set(block)]
        waiting.sort(key=lambda job: (not job.required, -job.value_pence, job.id))
        jobs = [job for job in self.jobs if job.id in mine] + waiting[:MOST_WAITING_JOBS]
        found = self.together(block, jobs, effort, inside)
        old = orders_pence(self.problem, self.roads, inside, jobs)
        new = orders_pence(self.problem, self.roads, found, jobs)
        return outside + (found if new < old else inside)


def _cost_of_waiting(job: Job, chances: Sequence[date]) -> int:
    """Pence by which the next chance is dearer than the first of these days."""
    if len(chances) < 2:
        return prize_of(job) // UNITS_PER_PENNY
    return job.day_pence(chances[1]) - job.day_pence(chances[0])


def _jobs_in(orders: Iterable[Order]) -> set[str]:
    return {visit.id for _, visits in orders for visit in visits if visit.kind == "job"}


def _part(effort: Effort, share: float) -> Effort:
    return replace(
        effort,
        iterations=None if effort.iterations is None else max(round(effort.iterations * share), 1),
        seconds=None if effort.seconds is None else effort.seconds * share,
    )
