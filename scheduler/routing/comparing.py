"""Two plans side by side: their figures, and what happens to each job between them."""

from dataclasses import dataclass
from typing import Literal

from scheduler.routing.checker import clock
from scheduler.routing.problem import Problem
from scheduler.routing.rounds import Plan, Round, Stop

SLIGHT_SHIFT_SECONDS = 5 * 60
Kind = Literal["time", "tanker", "day", "added", "left out"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Figures:
    """What a plan amounts to."""

    jobs: int
    left_out: int
    rounds: int
    kilometres: float
    duty_hours: float
    driving_hours: float
    tips: int
    litres: int
    late_days: int
    cost_pence: int
    missed_value_pence: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """What happens to one job from one plan to another, in a sentence."""

    job: str
    kind: Kind
    why: str
    promise_broken: bool = False


def figures_of(problem: Problem, plan: Plan) -> Figures:
    """The figures a planner compares before accepting."""
    planned = [(problem.job(job), r.on) for r in plan.rounds for job in r.job_ids]
    return Figures(
        jobs=len(planned),
        left_out=len(plan.left_out),
        rounds=len(plan.rounds),
        kilometres=plan.metres / 1000,
        duty_hours=sum(round_.duty_seconds for round_ in plan.rounds) / 3600,
        driving_hours=sum(round_.drive_seconds for round_ in plan.rounds) / 3600,
        tips=sum(round_.tips for round_ in plan.rounds),
        litres=sum(round_.litres for round_ in plan.rounds),
        late_days=sum(max((on - job.due).days, 0) for job, on in planned if job.due is not None),
        cost_pence=plan.costs.total,
        missed_value_pence=plan.missed_value_pence,
    )


def changes_between(problem: Problem, before: Plan, after: Plan) -> tuple[Change, ...]:
    """Every job whose day, tanker or time differs, or that is in one plan only.

    A start that moves by five minutes or less and keeps its promise is not told.
    """
    old, new = _stops_of(before), _stops_of(after)
    reasons = {line.job: line.why for line in after.left_out}
    changes = []
    for job in sorted(old.keys() | new.keys()):
        was, is_now = old.get(job), new.get(job)
        change = _change(problem, job, was, is_now, reasons.get(job, "It is in no round now."))
        if change is not None:
            changes.append(change)
    return tuple(changes)


Placed = tuple[Round, Stop]


def _stops_of(plan: Plan) -> dict[str, Placed]:
    return {
        stop.id: (round_, stop)
        for round_ in plan.rounds
        for stop in round_.stops
        if stop.kind == "job"
    }


def _change(
    problem: Problem, job: str, was: Placed | None, is_now: Placed | None, left_out: str
) -> Change | None:
    if is_now is None:
        promised = bool(problem.job(job).windows)
        return Change(job=job, kind="left out", why=left_out, promise_broken=promised)
    broken = not _keeps_promise(problem, job, is_now)
    place = _told(is_now)
    if was is None:
        return Change(job=job, kind="added", why=f"Now {place}.", promise_broken=broken)
    kind = _kind(was, is_now)
    moved = abs(was[1].start_seconds - is_now[1].start_seconds)
    if kind == "time" and moved <= SLIGHT_SHIFT_SECONDS and not broken:
        return None
    why = f"From {_told(was)} to {place}."
    return Change(job=job, kind=kind, why=why, promise_broken=broken)


def _kind(was: Placed, is_now: Placed) -> Kind:
    if was[0].on != is_now[0].on:
        return "day"
    return "tanker" if was[0].tanker != is_now[0].tanker else "time"


def _told(placed: Placed) -> str:
    round_, stop = placed
    return f"{clock(stop.start_seconds)} on {round_.on} ({round_.tanker})"


def _keeps_promise(problem: Problem, job: str, placed: Placed) -> bool:
    promised = problem.job(job).windows
    round_, stop = placed
    return not promised or any(
        window.day == round_.on
        and window.from_seconds <= stop.start_seconds <= window.until_seconds
        for window in promised
    )
