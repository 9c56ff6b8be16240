"""A job too large for one tanker is done in several visits of one day, or not at all.

The planner names the visits `id#1`, `id#2`, …; a stop keeps the number.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Max
from django.db.models.functions import Coalesce

from scheduler.models import Stop
from scheduler.routing.moves import apply_move, take_off
from scheduler.routing.rounds import LeftOut, Plan

if TYPE_CHECKING:
    from collections.abc import Iterable

    from scheduler.models import Job
    from scheduler.routing.problem import Problem
    from scheduler.routing.roads import Roads

MARK = "#"
HALF = "Only a part of it found room, and half an emptying is none: all its visits were taken off."


def whole(job: str) -> str:
    """Public id of the job that a visit belongs to."""
    return job.partition(MARK)[0]


def part_number(job: str) -> int | None:
    """Which of several visits, from 1; None for a job done in one."""
    number = job.partition(MARK)[2]
    return int(number) if number else None


def planner_id(stop: Stop) -> str:
    """What the planner calls the job of a stop."""
    assert stop.job is not None
    return visit_id(stop.job, stop.part)


def visit_id(job: Job, part: int | None) -> str:
    """What the planner calls a visit to a job, or the job done in one."""
    return f"{job.public_id}{MARK}{part}" if part else str(job.public_id)


def visits_to(problem: Problem, job: Job) -> list[str]:
    """What the planner calls the visits to a job: one, or several where it was cut up."""
    name = str(job.public_id)
    return [each.id for each in problem.jobs if name in {each.id, each.part_of}]


def visits_settled(jobs: Iterable[Job]) -> dict[str, int]:
    """Into how many visits jobs on accepted rounds were cut; what stays whole counts one.

    So that no other tanker, larger or smaller, cuts them up anew.
    """
    stops = Stop.objects.filter(job__in=list(jobs), round__accepted_at__isnull=False)
    counted = stops.values_list("job__public_id").annotate(count=Coalesce(Max("part"), 1))
    return {str(job): count for job, count in counted}


def without_halves(problem: Problem, plan: Plan, roads: Roads) -> Plan:
    """The plan without the visits to jobs of which another visit found no room or no common day."""
    for name in sorted({job.part_of for job in problem.jobs} - {""}):
        visits = [job.id for job in problem.jobs if job.part_of == name]
        placed = [round_ for visit in visits if (round_ := plan.round_of(visit)) is not None]
        together = len(placed) == len(visits) and len({each.on for each in placed}) == 1
        for visit in visits if placed and not together else ():
            check = take_off(problem, plan, table=roads.table, job=visit, roads=roads)
            left = LeftOut(job=visit, rule="half", why=HALF)
            plan = apply_move(plan, check, left_out=left) if plan.round_of(visit) else plan
    return plan


def lines_of_wholes(left_out: tuple[LeftOut, ...]) -> list[LeftOut]:
    """One line for each job left out, whatever the number of its visits."""
    lines: dict[str, LeftOut] = {}
    for line in left_out:
        name = whole(line.job)
        if name not in lines or lines[name].rule == "half":
            lines[name] = LeftOut(job=name, rule=line.rule, why=line.why)
    return list(lines.values())
