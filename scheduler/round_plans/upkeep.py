"""Timing an accepted round anew after jobs have left it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from scheduler.models import Job, Round
from scheduler.routing.moves import check_sequence
from scheduler.routing.problem import places_of

from .clock import LocalClock
from .job_choice import plannable
from .parts import planner_id, visits_settled, whole
from .problem import fleet_of, problem_of
from .rows import breach_rows, fill_round, names_of
from .settings import PlanSettings
from .travel import travel_for

if TYPE_CHECKING:
    from collections.abc import Collection


def time_without(planned: Round, gone: Collection[int]) -> None:
    """Write the round without the jobs of these keys, in the same order, promises kept.

    Raises the planner's own errors (`ProblemError`) when its tanker or works are gone.
    """
    stops = planned.stops.filter(job__isnull=False).exclude(job__in=gone).order_by("position")
    stops = stops.select_related("job")
    order = [planner_id(stop) for stop in stops]
    asked = planned.run.settings if planned.run is not None else {}
    settings = PlanSettings(
        tankers=(str(planned.tanker.public_id),),
        works=PlanSettings.from_json({"tankers": (), "jobs": (), **asked}).works,
        jobs=tuple(dict.fromkeys(whole(job) for job in order)),
        visits=visits_settled(stop.job for stop in stops if stop.job is not None),
    )
    fleet = fleet_of(planned.organisation, settings.tankers, settings.works)
    problem = problem_of(
        organisation=planned.organisation,
        first_day=planned.day,
        days=1,
        settings=settings,
        fleet=fleet,
    )
    rows = plannable(Job.objects.for_operator(planned.organisation)).filter(
        public_id__in=settings.jobs
    )
    jobs = {str(job.public_id): job for job in rows}
    check = check_sequence(
        problem,
        table=travel_for(planned.organisation, fleet).table(places_of(problem)),
        tanker=str(planned.tanker.public_id),
        on=planned.day,
        job_ids=[job for job in order if whole(job) in jobs],
    )
    fill_round(
        planned,
        check.round,
        problem=problem,
        fleet=fleet,
        jobs=jobs,
        clock=LocalClock.of(planned.organisation),
        breaches=breach_rows(check.breaches, names_of(fleet, jobs.values())),
    )
