"""Working a run of the planner in the background and writing what it proposes."""

from __future__ import annotations

import datetime as dt
import logging

from django.db import transaction
from django.utils import timezone

from scheduler.models import Job, PlanRun, Round, Stop
from scheduler.routing.errors import ProblemError
from scheduler.routing.plan import Effort, Progress, plan_rounds
from scheduler.routing.problem import Problem, places_of
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Plan
from scheduler.routing.travel_times import StraightLine

from .asking import SILENCE
from .clock import LocalClock
from .problem import Fleet, Lock, fleet_of, problem_of
from .rows import (
    breach_rows,
    figures_of,
    fill_round,
    names_of,
    new_round,
    read_round,
    spoken,
    with_stops,
)
from .settings import PlanSettings

log = logging.getLogger(__name__)

WRITE_EVERY = dt.timedelta(seconds=1)


def run_plan(run_id: int) -> bool:
    """Work a run to its end. False when another worker has it, or had it.

    Claimed by a conditional update, so that a task delivered twice works once; a claim whose
    worker fell silent may be taken over, and whatever the first one still writes is ignored.
    """
    claimed = _claim(run_id, timezone.now())
    if claimed is None:
        return False
    run, started = claimed
    try:
        _work(run, started)
    except ProblemError as error:
        fleet = fleet_of(run.organisation)
        _fail(run, started, spoken(error.message, names_of(fleet, _jobs(run))))
    except Exception:
        log.exception("plan run %s failed", run.pk)
        _fail(run, started, "The planner itself failed. It has been written to the log.")
        raise
    return True


def _claim(run_id: int, now: dt.datetime) -> tuple[PlanRun, dt.datetime] | None:
    waiting = PlanRun.objects.filter(pk=run_id, state=PlanRun.State.WAITING)
    silent = PlanRun.objects.filter(
        pk=run_id, state=PlanRun.State.WORKING, changed_at__lt=now - SILENCE
    )
    fresh = {"state": PlanRun.State.WORKING, "started_at": now, "changed_at": now}
    if not (waiting.update(**fresh) or silent.update(**fresh)):
        return None
    return PlanRun.objects.select_related("organisation").get(pk=run_id), now


def _mine(run: PlanRun, started: dt.datetime) -> dict[str, object]:
    return {"pk": run.pk, "state": PlanRun.State.WORKING, "started_at": started}


def _fail(run: PlanRun, started: dt.datetime, sentence: str) -> None:
    PlanRun.objects.filter(**_mine(run, started)).update(
        state=PlanRun.State.FAILED,
        error=sentence,
        finished_at=timezone.now(),
        changed_at=timezone.now(),
    )


class _Watch:
    """Progress written to the row once a second; hears the wish to stop on the same visit."""

    def __init__(self, run: PlanRun, started: dt.datetime, seconds: float) -> None:
        self.run, self.started, self.seconds = run, started, seconds
        self.written_at = started
        self.stop = False

    def progress(self, reached: Progress) -> None:
        """Note how far the search is."""
        share = min(reached.seconds / self.seconds, 0.99) if self.seconds else 0.0
        self._visit(share)

    def should_stop(self) -> bool:
        """Whether somebody asked to stop, or another worker took the run over."""
        self._visit(None)
        return self.stop

    def _visit(self, share: float | None) -> None:
        now = timezone.now()
        if now - self.written_at < WRITE_EVERY:
            return
        self.written_at = now
        mine = PlanRun.objects.filter(**_mine(self.run, self.started))
        still_mine = mine.update(changed_at=now, **({} if share is None else {"progress": share}))
        self.stop = not still_mine or mine.filter(stop_asked=True).exists()


def _work(run: PlanRun, started: dt.datetime) -> None:
    settings = PlanSettings.from_json(run.settings)
    problem = problem_of(
        organisation=run.organisation,
        first_day=run.first_day,
        days=run.days,
        settings=settings,
        locks=locks_of(run, settings),
    )
    watch = _Watch(run, started, settings.seconds)
    plan = plan_rounds(
        problem,
        travel=StraightLine(),
        effort=_effort(settings),
        keep=_plan_to_start_from(run, settings, problem),
        progress=watch.progress,
        should_stop=watch.should_stop,
    )
    _write(run, started, plan, settings, problem)


def _effort(settings: PlanSettings) -> Effort:
    if settings.iterations is not None:
        return Effort(iterations=settings.iterations, seed=settings.seed)
    return Effort(seconds=settings.seconds, seed=settings.seed)


def _earlier_rounds(run: PlanRun, settings: PlanSettings) -> list[Round]:
    """Proposals this run begins from, else the rounds already accepted on its days."""
    rows = with_stops(Round.objects.filter(organisation=run.organisation))
    if settings.after:
        return list(rows.filter(run__public_id=settings.after, accepted_at__isnull=True))
    last_day = run.first_day + dt.timedelta(days=run.days - 1)
    return list(
        rows.filter(
            accepted_at__isnull=False,
            day__range=(run.first_day, last_day),
            tanker__public_id__in=settings.tankers,
        )
    )


def locks_of(run: PlanRun, settings: PlanSettings) -> dict[str, Lock]:
    """Jobs that stay on their tanker and day: locked stops of the rounds begun from."""
    rounds = _earlier_rounds(run, settings)
    stops = Stop.objects.filter(round__in=rounds, locked=True, job__isnull=False)
    return {
        str(stop.job.public_id): (str(stop.round.tanker.public_id), stop.round.day)
        for stop in stops.select_related("job", "round__tanker")
        if stop.job is not None
    }


def _plan_to_start_from(run: PlanRun, settings: PlanSettings, problem: Problem) -> Plan | None:
    rounds = _earlier_rounds(run, settings)
    known = {job.id for job in problem.jobs} | {works.id for works in problem.works}
    known |= {tanker.id for tanker in problem.tankers}
    wanted = {str(row.tanker.public_id) for row in rounds}
    for row in rounds:
        for stop in row.stops.all():
            wanted |= {str(one.public_id) for one in (stop.job, stop.works) if one is not None}
    if not rounds or not wanted <= known:
        return None
    roads = Roads(StraightLine().table(places_of(problem)))
    clock = LocalClock.of(run.organisation)
    read = tuple(read_round(row, problem, roads, clock) for row in rounds)
    return Plan(rounds=read, left_out=(), missed_value_pence=0)


def _jobs(run: PlanRun) -> list[Job]:
    wanted = PlanSettings.from_json(run.settings).jobs
    jobs = Job.objects.for_operator(run.organisation).filter(public_id__in=wanted)
    return list(jobs.select_related("system__premises"))


@transaction.atomic
def _write(
    run: PlanRun, started: dt.datetime, plan: Plan, settings: PlanSettings, problem: Problem
) -> None:
    """Write the proposals, unless another worker has taken the run over meanwhile."""
    now = timezone.now()
    mine = PlanRun.objects.filter(**_mine(run, started))
    stopped = mine.filter(stop_asked=True).exists()
    fleet = fleet_of(run.organisation, settings.tankers, settings.works)
    jobs = {str(job.public_id): job for job in _jobs(run)}
    names = names_of(fleet, jobs.values())
    left_out = [
        {"job": each.job, "rule": each.rule, "why": spoken(each.why, names)}
        for each in plan.left_out
    ]
    left_out += _gone(settings, problem)
    written = mine.update(
        state=PlanRun.State.STOPPED if stopped else PlanRun.State.READY,
        progress=1.0,
        finished_at=now,
        changed_at=now,
        left_out=left_out,
        warnings=[spoken(each, names) for each in plan.warnings],
        figures=figures_of(plan),
        problem=_for_the_record(problem),
    )
    if not written:
        return
    Round.objects.filter(run=run, accepted_at__isnull=True).delete()
    _write_rounds(run, plan, fleet, jobs)


def _write_rounds(run: PlanRun, plan: Plan, fleet: Fleet, jobs: dict[str, Job]) -> None:
    clock = LocalClock.of(run.organisation)
    tankers = {str(tanker.public_id): tanker for tanker in fleet.tankers}
    names = names_of(fleet, jobs.values())
    unchecked = [] if plan.checked else [{"rule": "unchecked", "job": "", "why": "Not checked."}]
    for planned in plan.rounds:
        if planned.job_ids:
            row = new_round(run, tankers[planned.tanker], planned)
            breaches = [*breach_rows((), names), *unchecked]
            fill_round(row, planned, fleet=fleet, jobs=jobs, clock=clock, breaches=breaches)


def _gone(settings: PlanSettings, problem: Problem) -> list[dict[str, str]]:
    """Jobs asked for that could no longer be planned when the worker looked."""
    known = {job.id for job in problem.jobs}
    why = "It was no longer open when the plan was made."
    return [{"job": job, "rule": "gone", "why": why} for job in settings.jobs if job not in known]


def _for_the_record(problem: Problem) -> dict[str, object]:
    return {
        "tankers": [tanker.id for tanker in problem.tankers],
        "works": [works.id for works in problem.works],
        "jobs": {job.id: job.litres for job in problem.jobs},
        "required": [job.id for job in problem.jobs if job.required],
    }
