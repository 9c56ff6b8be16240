"""The loads of a round: what each holds, and the chance that it does not fit the tanker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scheduler.routing.litres import chance_fills_early

from .parts import whole

if TYPE_CHECKING:
    from collections.abc import Mapping

    from scheduler.models import Job
    from scheduler.routing import rounds as routing
    from scheduler.routing.problem import Problem


def load_rows(
    problem: Problem, planned: routing.Round, jobs: Mapping[str, Job]
) -> list[dict[str, Any]]:
    """For `Round.loads`: one row a load, in driving order."""
    means = {job: _expected(problem, job, jobs[whole(job)]) for job in planned.job_ids}
    return [
        {
            "jobs": len(trip.jobs),
            "litres": trip.litres,
            "capacity": trip.capacity_litres,
            "chance": round(trip.chance, 3),
        }
        for trip in chance_fills_early(problem, planned, means=means)
    ]


def _expected(problem: Problem, job: str, row: Job) -> float:
    """Litres expected at a visit: of a job cut up, its share of them."""
    planned = problem.job(job)
    if not planned.part_of:
        return float(row.litres)
    total = sum(each.litres for each in problem.jobs if each.part_of == planned.part_of)
    return row.litres * planned.litres / max(total, 1)
