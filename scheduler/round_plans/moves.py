"""Changing a proposal by hand: look first, then write."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.db import transaction

from scheduler.routing import moves as routing
from scheduler.routing.checker import check_plan
from scheduler.routing.rounds import Breach
from scheduler.routing.rounds import Round as PlannedRound

from .board import Board, write_figures
from .parts import visit_id, visits_to
from .rows import breach_rows, fill_round, new_round

if TYPE_CHECKING:
    from scheduler.models import Job, PlanRun, Round, Tanker

TAKEN_OFF = "Taken off by hand."


@dataclass(frozen=True, kw_only=True)
class Look:
    """What a change would do, before it is made. Breaches are sentences of the rounds touched."""

    possible: bool
    breaches: tuple[str, ...]
    pence: int
    metres: int
    seconds: int
    starts_at: dt.datetime | None
    rounds: tuple[PlannedRound, ...]
    found: tuple[Breach, ...]

    @property
    def saved_pence(self) -> int:
        """What it would save, when it saves."""
        return -self.pence

    @property
    def saved_km(self) -> float:
        """Distance saved, when it saves any."""
        return -self.km

    @property
    def saved_minutes(self) -> int:
        """Time saved, when it saves any."""
        return -self.minutes

    @property
    def km(self) -> float:
        """Change of the distance driven."""
        return self.metres / 1000

    @property
    def minutes(self) -> int:
        """Change of the time on duty."""
        return round(self.seconds / 60)


def look_at_move(
    board: Board,
    *,
    job: Job,
    tanker: Tanker,
    day: dt.date,
    position: int | None,
    part: int | None = None,
) -> Look:
    """Try a job on a tanker and day; `position` counts jobs from 0, None is the best place.

    Of a job done in several visits `part` says which of them is moved.
    """
    job_id = visit_id(job, part)
    visits = visits_to(board.problem, job)
    if visits and job_id not in visits:
        count = len(visits)
        wrong = f"It is done in {count} visits: say which of them is moved."
        return _refused(wrong if count > 1 else "It is done in one visit: move it as a whole.")
    check = routing.check_move(
        board.problem,
        board.plan(),
        table=board.roads.table,
        job=job_id,
        to_tanker=str(tanker.public_id),
        on=day,
        position=position,
    )
    return _look(board, check, job_id)


def look_at_taking_off(board: Board, *, job: Job) -> Look:
    """Try the plan without a job. One that can no longer be planned at all is simply dropped."""
    visits = visits_to(board.problem, job)
    if not visits:
        return _without_gone(board)
    plan, checks = board.plan(), []
    for visit in visits:
        checks.append(routing.take_off(board.problem, plan, table=board.roads.table, job=visit))
        plan = routing.apply_move(plan, checks[-1])
    rounds = {(each.tanker, each.on): each for check in checks for each in check.rounds}
    together = replace(
        checks[-1],
        rounds=tuple(rounds.values()),
        breaches=tuple(check_plan(board.problem, board.roads.table, rounds.values())),
        cost_change_pence=sum(check.cost_change_pence for check in checks),
        metres_change=sum(check.metres_change for check in checks),
        seconds_change=sum(check.seconds_change for check in checks),
    )
    return _look(board, together, str(job.public_id))


def _refused(why: str) -> Look:
    return Look(
        possible=False,
        breaches=(why,),
        pence=0,
        metres=0,
        seconds=0,
        starts_at=None,
        rounds=(),
        found=(),
    )


def _without_gone(board: Board) -> Look:
    changed = tuple(filter(None, (board.without_gone(row) for row in board.rows)))
    return Look(
        possible=True,
        breaches=(),
        pence=0,
        metres=0,
        seconds=0,
        starts_at=None,
        rounds=changed,
        found=tuple(check_plan(board.problem, board.roads.table, changed)),
    )


def _look(board: Board, check: routing.MoveCheck, job: str) -> Look:
    starts = [
        board.clock.moment(each.on, stop.start_seconds)
        for each in check.rounds
        for stop in each.stops
        if stop.kind == "job" and stop.id == job
    ]
    return Look(
        possible=check.possible,
        breaches=tuple(line["why"] for line in breach_rows(check.breaches, board.names)),
        pence=check.cost_change_pence,
        metres=check.metres_change,
        seconds=check.seconds_change,
        starts_at=starts[0] if starts else None,
        rounds=tuple(check.rounds),
        found=tuple(check.breaches),
    )


@transaction.atomic
def make_move(run: PlanRun, board: Board, look: Look, *, job: Job) -> None:
    """Write a change that was looked at. A job on no round any more joins those left out."""
    rows = {(str(row.tanker.public_id), row.day): row for row in board.rows}
    for planned in look.rounds:
        row = rows.get((planned.tanker, planned.on))
        if planned.job_ids:
            write_round(board, row or _added(run, board, planned), planned, look)
        elif row is not None:
            row.delete()
    _note_left_out(run, look, str(job.public_id))
    write_figures(run)


def _added(run: PlanRun, board: Board, planned: PlannedRound) -> Round:
    tanker = next(one for one in board.fleet.tankers if str(one.public_id) == planned.tanker)
    return new_round(run, tanker, planned)


def write_round(board: Board, row: Round, planned: PlannedRound, look: Look) -> None:
    """Write one round of a change onto its row, with what it breaks."""
    own = [
        each
        for each in look.found
        if (each.tanker or planned.tanker) == planned.tanker
        and (each.on or planned.on) == planned.on
    ]
    fill_round(
        row,
        planned,
        problem=board.problem,
        fleet=board.fleet,
        jobs=board.jobs,
        clock=board.clock,
        breaches=breach_rows(own, board.names),
    )


def _note_left_out(run: PlanRun, look: Look, job: str) -> None:
    others = [line for line in run.left_out if line["job"] != job]
    if look.starts_at is None:
        others.append({"job": job, "rule": "taken-off", "why": TAKEN_OFF})
    run.left_out = others
