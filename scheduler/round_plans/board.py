"""The proposals of a run as they stand now, ready to be looked at again by the planner."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from scheduler.models import Job, Round
from scheduler.routing.checker import check_plan
from scheduler.routing.moves import check_sequence
from scheduler.routing.problem import Problem, places_of
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import LeftOut, Plan
from scheduler.routing.rounds import Round as PlannedRound

from .clock import LocalClock
from .parts import planner_id, whole
from .problem import Fleet, fleet_of, jobs_of, problem_of
from .rows import breach_rows, figures_of, names_of, read_round, with_stops
from .settings import PlanSettings
from .travel import travel_for

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Iterator, Mapping

    from django.db.models import QuerySet

    from customers.models import Organisation
    from scheduler.models import PlanRun

    from .job_facts import Lock


@dataclass(frozen=True, kw_only=True)
class Board:
    """Rows of one run beside the problem they answer, as both are today."""

    run: PlanRun | None
    settings: PlanSettings
    clock: LocalClock
    fleet: Fleet
    problem: Problem
    roads: Roads
    rows: tuple[Round, ...]
    jobs: dict[str, Job]
    names: dict[str, str]
    gone: dict[int, tuple[str, ...]] = field(default_factory=dict)

    def plan(self) -> Plan:
        """Proposals as a plan; a round with a job that is gone is timed anew without it."""
        placed = tuple(self.without_gone(row) or self._as_stored(row) for row in self.rows)
        on_rounds = {job for each in placed for job in each.job_ids}
        reasons = {line["job"]: line for line in (self.run.left_out if self.run else ())}
        left_out = tuple(
            LeftOut(
                job=job.id,
                rule=reasons.get(whole(job.id), {}).get("rule", "taken-off"),
                why=reasons.get(whole(job.id), {}).get("why", ""),
            )
            for job in self.problem.jobs
            if job.id not in on_rounds
        )
        return Plan(rounds=placed, left_out=left_out, missed_value_pence=0)

    def _as_stored(self, row: Round) -> PlannedRound:
        return read_round(row, self.problem, self.roads, self.clock)

    def without_gone(self, row: Round) -> PlannedRound | None:
        """The round without what is no longer possible; None when all of it still is."""
        if row.pk not in self.gone:
            return None
        known = {job.id for job in self.problem.jobs}
        jobs = [planner_id(stop) for stop in row.stops.all() if stop.job is not None]
        check = check_sequence(
            self.problem,
            table=self.roads.table,
            tanker=str(row.tanker.public_id),
            on=row.day,
            job_ids=[job for job in jobs if job in known],
            roads=self.roads,
        )
        return check.round

    def breaches(self) -> dict[int, list[dict[str, str]]]:
        """What the checker finds today, by primary key of the round; empty lists when sound."""
        plan = self.plan()
        key = {(str(row.tanker.public_id), row.day): row.pk for row in self.rows}
        found: dict[int, list[dict[str, str]]] = {row.pk: [] for row in self.rows}
        for each in check_plan(self.problem, self.roads.table, plan.rounds):
            holders = [key[each.tanker, each.on]] if each.on and each.tanker else list(found)
            for pk in holders:
                found[pk] += breach_rows([each], self.names)
        for pk, references in self.gone.items():
            why = "{} can no longer be planned: it was done, withdrawn or handed to others."
            found[pk] += [{"rule": "gone", "job": "", "why": why.format(one)} for one in references]
        return found


def board_of(run: PlanRun) -> Board:
    """Board of a run's proposals. Raises the planner's own errors when nothing can be planned."""
    settings = PlanSettings.from_json(run.settings)
    rows = Round.objects.filter(run=run, accepted_at__isnull=True)
    return board_with(
        run.organisation, rows, first_day=run.first_day, days=run.days, settings=settings, run=run
    )


def board_with(
    organisation: Organisation,
    rounds: QuerySet[Round],
    *,
    first_day: dt.date,
    days: int,
    settings: PlanSettings,
    run: PlanRun | None = None,
    locks: Mapping[str, Lock] | None = None,
) -> Board:
    """Board of these rounds over these days, as far as their tankers are among the chosen."""
    fleet = fleet_of(organisation, settings.tankers, settings.works)
    jobs = jobs_of(organisation, settings)
    problem = problem_of(
        organisation=organisation,
        first_day=first_day,
        days=days,
        settings=settings,
        locks=locks,
        fleet=fleet,
        rows=jobs,
    )
    known = rounds.filter(tanker__in=[tanker.pk for tanker in fleet.tankers])
    rows = tuple(with_stops(known).order_by("day", "tanker__name"))
    return Board(
        run=run,
        settings=settings,
        clock=LocalClock.of(organisation),
        fleet=fleet,
        problem=problem,
        roads=Roads(travel_for(organisation, fleet).table(places_of(problem))),
        rows=rows,
        jobs={str(job.public_id): job for job in jobs},
        names=names_of(fleet, jobs),
        gone=_gone(rows, {job.id for job in problem.jobs}, fleet),
    )


def _gone(rows: Iterable[Round], jobs: set[str], fleet: Fleet) -> dict[int, tuple[str, ...]]:
    """Why stops of a round are no longer possible at all, in sentences, by key of the round."""
    works = {row.pk for row in fleet.works}
    found = {row.pk: tuple(_gone_from(row, jobs, works)) for row in rows}
    return {key: sentences for key, sentences in found.items() if sentences}


def _gone_from(row: Round, jobs: set[str], works: set[int]) -> Iterator[str]:
    for stop in row.stops.all():
        if stop.job is not None and planner_id(stop) not in jobs:
            yield (
                f"{stop.job.system.reference} can no longer be planned: "
                "it was done, withdrawn or handed to others."
            )
        if stop.works is not None and stop.works.pk not in works:
            yield f"{stop.works} is not in use any more: nothing can be tipped there."


def write_figures(run: PlanRun) -> None:
    """Sums on the run after its rounds were changed by hand."""
    run.figures = figures_of(board_of(run).plan())
    run.save(update_fields=["figures", "left_out", "changed_at"])
