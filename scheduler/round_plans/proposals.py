"""Writing down what a run of the planner proposes."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from scheduler.models import Job, PlanRun, Round
from scheduler.routing.problem import Problem
from scheduler.routing.rounds import Plan

from .clock import LocalClock
from .job_choice import for_planner
from .parts import lines_of_wholes, whole
from .problem import Fleet, fleet_of
from .rows import breach_rows, figures_of, fill_round, names_of, new_round, spoken
from .settings import PlanSettings
from .worth import pressing_words

if TYPE_CHECKING:
    from collections.abc import Mapping

    from .rest_of_day import Rest


def mine(run: PlanRun, started: dt.datetime) -> dict[str, object]:
    """The run as long as the worker that began it then still has it."""
    return {"pk": run.pk, "state": PlanRun.State.WORKING, "started_at": started}


def jobs_asked_for(run: PlanRun) -> list[Job]:
    """Jobs of a run with what is said of them, in whatever state they are by now."""
    wanted = PlanSettings.from_json(run.settings).jobs
    jobs = Job.objects.for_operator(run.organisation).filter(public_id__in=wanted)
    return list(for_planner(jobs))


@transaction.atomic
def write_proposals(
    run: PlanRun,
    started: dt.datetime,
    plan: Plan,
    problem: Problem,
    *,
    rest: Rest | None = None,
) -> None:
    """Write the proposals, unless another worker has taken the run over meanwhile."""
    now = timezone.now()
    settings = PlanSettings.from_json(run.settings)
    fleet = fleet_of(run.organisation, settings.tankers, settings.works)
    jobs = {str(job.public_id): job for job in jobs_asked_for(run)}
    names = names_of(fleet, jobs.values())
    own = PlanRun.objects.filter(**mine(run, started))
    stopped = own.filter(stop_asked=True).exists()
    written = own.update(
        state=PlanRun.State.STOPPED if stopped else PlanRun.State.READY,
        progress=1.0,
        finished_at=now,
        changed_at=now,
        left_out=[*_left_out(run, plan, jobs, names), *_gone(settings, problem)],
        warnings=[spoken(each, names) for each in plan.warnings],
        figures=figures_of(plan),
        problem=_for_the_record(problem) | ({"kept": rest.kept} if rest else {}),
        changes=[
            {**line, "why": spoken(line["why"], names)} for line in (rest.changes if rest else ())
        ],
    )
    if not written:
        return
    Round.objects.filter(run=run, accepted_at__isnull=True).delete()
    _write_rounds(run, plan, problem, fleet, jobs)


def _left_out(
    run: PlanRun, plan: Plan, jobs: Mapping[str, Job], names: Mapping[str, str]
) -> list[dict[str, str]]:
    """Lines of those left out, the most pressing first, each with how pressing it is."""
    lines = lines_of_wholes(plan.left_out)
    value = {job: jobs[job].due_on for job in (line.job for line in lines) if job in jobs}
    lines.sort(key=lambda line: value.get(line.job, dt.date.max))
    return [
        {
            "job": line.job,
            "rule": line.rule,
            "why": spoken(line.why, names),
            "pressing": pressing_words(jobs[line.job], run.first_day) if line.job in jobs else "",
        }
        for line in lines
    ]


def _write_rounds(
    run: PlanRun, plan: Plan, problem: Problem, fleet: Fleet, jobs: dict[str, Job]
) -> None:
    clock = LocalClock.of(run.organisation)
    tankers = {str(tanker.public_id): tanker for tanker in fleet.tankers}
    names = names_of(fleet, jobs.values())
    unchecked = [] if plan.checked else [{"rule": "unchecked", "job": "", "why": "Not checked."}]
    for planned in plan.rounds:
        if planned.job_ids or problem.must_come_home(planned.tanker, planned.on):
            row = new_round(run, tankers[planned.tanker], planned)
            breaches = [*breach_rows((), names), *unchecked]
            fill_round(
                row,
                planned,
                problem=problem,
                fleet=fleet,
                jobs=jobs,
                clock=clock,
                breaches=breaches,
            )


def _gone(settings: PlanSettings, problem: Problem) -> list[dict[str, str]]:
    """Jobs asked for that could no longer be planned when the worker looked."""
    if settings.happening is not None:
        return []
    known = {whole(job.id) for job in problem.jobs}
    why = "It was no longer open when the plan was made."
    return [
        {"job": job, "rule": "gone", "why": why, "pressing": ""}
        for job in settings.jobs
        if job not in known
    ]


def _for_the_record(problem: Problem) -> dict[str, object]:
    return {
        "tankers": [tanker.id for tanker in problem.tankers],
        "works": [works.id for works in problem.works],
        "jobs": {job.id: job.litres for job in problem.jobs},
        "required": [job.id for job in problem.jobs if job.required],
    }
