"""Working a run of the planner in the background and writing what it proposes."""

from __future__ import annotations

import datetime as dt
import logging

from django.utils import timezone

from scheduler.models import PlanRun
from scheduler.routing.errors import ProblemError
from scheduler.routing.plan import Effort, Progress, plan_rounds
from scheduler.routing.problem import places_of
from scheduler.routing.roads import Roads

from .asking import SILENCE
from .beginnings import locks_of, plan_to_start_from
from .parts import without_halves
from .problem import fleet_of, problem_of
from .proposals import jobs_asked_for, mine, write_proposals
from .rest_of_day import rest_of_day
from .rows import names_of, spoken
from .settings import PlanSettings
from .travel import travel_for

log = logging.getLogger(__name__)

# Starting a second process takes about a second: worth it for a search of some length only.
LONG_SEARCH_SECONDS, MOST_PROCESSES = 10, 2
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
        _fail(run, started, spoken(error.message, names_of(fleet, jobs_asked_for(run))))
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


def _fail(run: PlanRun, started: dt.datetime, sentence: str) -> None:
    PlanRun.objects.filter(**mine(run, started)).update(
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
        own = PlanRun.objects.filter(**mine(self.run, self.started))
        still_mine = own.update(changed_at=now, **({} if share is None else {"progress": share}))
        self.stop = not still_mine or own.filter(stop_asked=True).exists()


def _work(run: PlanRun, started: dt.datetime) -> None:
    settings = PlanSettings.from_json(run.settings)
    watch = _Watch(run, started, settings.seconds)
    if settings.happening is not None:
        found = rest_of_day(run, settings, effort=_effort(settings))
        write_proposals(run, started, found.plan, found.problem, rest=found)
        return
    fleet = fleet_of(run.organisation, settings.tankers, settings.works)
    problem = problem_of(
        organisation=run.organisation,
        first_day=run.first_day,
        days=run.days,
        settings=settings,
        locks=locks_of(run, settings),
        fleet=fleet,
    )
    travel = travel_for(run.organisation, fleet)
    plan = plan_rounds(
        problem,
        travel=travel,
        effort=_effort(settings),
        keep=plan_to_start_from(run, settings, problem, travel),
        progress=watch.progress,
        should_stop=watch.should_stop,
    )
    if any(job.part_of for job in problem.jobs):
        roads = Roads(travel.table(places_of(problem)))
        plan = without_halves(problem, plan, roads)
    write_proposals(run, started, plan, problem)


def _effort(settings: PlanSettings) -> Effort:
    if settings.iterations is not None:
        return Effort(iterations=settings.iterations, seed=settings.seed)
    cores = MOST_PROCESSES if settings.seconds >= LONG_SEARCH_SECONDS else 1
    return Effort(seconds=settings.seconds, seed=settings.seed, processes=cores)
