"""The rest of a day planned again from where the tankers are, moving as little as can be.

What happened decides what is left: a tanker off the road takes no more jobs, a works that has
shut takes no more loads, an abandoned job is not driven to again, an urgent one comes in. A
tanker finishes the stop it is at or driving to; from there on everything is open. Promised
times are kept where they can be; a promise that cannot is moved to another time of the same
day before the job is left out, and either is told.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date

from scheduler.routing.comparing import Change, changes_between
from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.problem import Job, Problem, Tanker, TankerStart, places_of
from scheduler.routing.rounds import LeftOut, Plan, Round, Stop
from scheduler.routing.travel_times import TravelTimes

MOVE_PENCE = 2500  # what taking a job to another tanker must save before it is worth the calls


@dataclass(frozen=True, kw_only=True)
class Happening:
    """What has happened by a moment of the day.

    `stands` says where a tanker really is, when that is not where the plan has it.
    """

    on: date
    at_seconds: int
    off_the_road: frozenset[str] = frozenset()
    shut_works: frozenset[str] = frozenset()
    abandoned: frozenset[str] = frozenset()
    urgent: tuple[Job, ...] = ()
    stands: Mapping[str, TankerStart] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class Replanned:
    """The rest of the day, the problem it solves, and what changes for whom."""

    problem: Problem
    plan: Plan
    changes: tuple[Change, ...]


def replan_day(
    problem: Problem,
    plan: Plan,
    happening: Happening,
    *,
    travel: TravelTimes | None = None,
    effort: Effort,
) -> Replanned:
    """Plan the rest of the day again.

    Args:
        problem: the problem the plan in force was made for.
        plan: the plan in force.
        happening: the moment, and what has happened by then.
        travel: where distances and times come from.
        effort: how long to look.
    """
    today = [round_ for round_ in plan.rounds if round_.on == happening.on]
    rest = _rest_of_day(problem, today, happening)
    kept = _still_ahead(today, rest, happening)
    made = plan_rounds(rest, travel=travel, effort=effort, keep=kept)
    late = {line.job for line in made.left_out if rest.job(line.job).windows}
    if late:
        # Better late than not at all: the broken promise is told, not hidden.
        looser = replace(rest, jobs=tuple(_any_time(job, late, happening.on) for job in rest.jobs))
        made = plan_rounds(looser, travel=travel, effort=effort, keep=made)
    before = replace(plan, rounds=_ahead_in(rest, today, happening))
    return Replanned(problem=rest, plan=made, changes=changes_between(rest, before, made))


def _rest_of_day(problem: Problem, today: Iterable[Round], happening: Happening) -> Problem:
    today = list(today)
    working = [each for each in problem.tankers if each.id not in happening.off_the_road]
    starts = [
        start
        for tanker in working
        if (start := _start_of(problem, tanker, today, happening)) is not None
    ]
    works = tuple(
        replace(each, closed_on=each.closed_on | {happening.on})
        if each.id in happening.shut_works
        else each
        for each in problem.works
    )
    planned = {job: r.tanker for r in today for job in _ahead(r, happening).job_ids}
    done = {job for round_ in today for job in _done_in(round_, happening)}
    jobs = [
        replace(
            problem.job(job),
            required=True,
            planned_tanker=None if tanker in happening.off_the_road else tanker,
            move_pence=0 if tanker in happening.off_the_road else MOVE_PENCE,
            locked_tanker=_lock_left(problem.job(job), happening),
        )
        for job, tanker in planned.items()
        if job not in happening.abandoned and job not in done
    ]
    return replace(
        problem,
        start=happening.on,
        days=1,
        tankers=tuple(working),
        works=works,
        jobs=(*jobs, *happening.urgent),
        starts=tuple(starts),
    )


def _lock_left(job: Job, happening: Happening) -> str | None:
    """A lock to a tanker holds while that tanker is on the road."""
    return None if job.locked_tanker in happening.off_the_road else job.locked_tanker


def _any_time(job: Job, late: set[str], on: date) -> Job:
    return replace(job, windows=(), locked_on=on) if job.id in late else job


def _reached(today: Iterable[Round], tanker: str, happening: Happening) -> tuple[Stop, ...]:
    """The stops a tanker has left, and the one it is at or on its way to."""
    round_ = next((each for each in today if each.tanker == tanker), None)
    if round_ is None or happening.at_seconds <= round_.start_seconds:
        return ()
    if tanker in happening.stands:
        return tuple(s for s in round_.stops if s.depart_seconds <= happening.at_seconds)
    left = [n for n, stop in enumerate(round_.stops) if stop.depart_seconds <= happening.at_seconds]
    return round_.stops[: min(max(left) + 2, len(round_.stops))]


def _behind(round_: Round, happening: Happening) -> tuple[Stop, ...]:
    """The stops that are settled: of a tanker off the road only those it has left."""
    if round_.tanker in happening.off_the_road:
        return tuple(s for s in round_.stops if s.depart_seconds <= happening.at_seconds)
    return _reached([round_], round_.tanker, happening)


def _done_in(round_: Round, happening: Happening) -> set[str]:
    """The jobs of a round that need no more planning."""
    return {stop.id for stop in _behind(round_, happening) if stop.kind == "job"}


def _ahead(round_: Round, happening: Happening) -> Round:
    """The part of a round that is not yet reached, by the plan, after the last stop that is."""
    reached = len(_behind(round_, happening))
    return replace(round_, stops=round_.stops[max(reached - 1, 0) :]) if reached else round_


def _start_of(
    problem: Problem, tanker: Tanker, today: Iterable[Round], happening: Happening
) -> TankerStart | None:
    """Where the tanker will be free, how full, and what its driver has behind him."""
    if tanker.id in happening.stands:
        return happening.stands[tanker.id]
    reached = _reached(today, tanker.id, happening)
    if not reached:
        base = problem.base_of(tanker)
        return TankerStart(
            tanker=tanker.id,
            on=happening.on,
            latitude=base.latitude,
            longitude=base.longitude,
            at_seconds=max(happening.at_seconds, tanker.shift_start_seconds),
        )
    round_ = next(each for each in today if each.tanker == tanker.id)
    last = reached[-1]
    latitude, longitude = _position(problem, last)
    wastes = _on_board(problem, tanker, happening.on, reached)
    breaks = [stop for stop in reached if stop.kind == "break"]
    return TankerStart(
        tanker=tanker.id,
        on=happening.on,
        latitude=latitude,
        longitude=longitude,
        at_seconds=max(last.depart_seconds, happening.at_seconds),
        load_litres=last.load_after_litres,
        loaded_wastes=tuple(sorted(wastes)) if last.load_after_litres else (),
        driven_seconds=sum(stop.drive_seconds for stop in reached),
        driven_since_break_seconds=_driven_since_break(tanker, reached),
        on_duty_since_seconds=round_.on_duty_from_seconds,
        worked_since_seconds=breaks[-1].depart_seconds if breaks else round_.on_duty_from_seconds,
        break_taken=bool(breaks),
        litres_today=sum(problem.job(s.id).litres for s in reached if s.kind == "job"),
        jobs_today=sum(stop.kind == "job" for stop in reached),
    )


def _on_board(problem: Problem, tanker: Tanker, on: date, reached: Iterable[Stop]) -> set[str]:
    """The wastes collected since the tanker last tipped."""
    start = problem.start_of(tanker.id, on)
    wastes = set() if start is None else set(start.loaded_wastes)
    for stop in reached:
        if stop.kind == "tip":
            wastes = set()
        elif stop.kind == "job":
            wastes.add(problem.job(stop.id).waste)
    return wastes


def _driven_since_break(tanker: Tanker, reached: Iterable[Stop]) -> int:
    """Seconds at the wheel since the last break that is long enough to end a spell."""
    needed = tanker.driver_hours.driving_break_seconds
    driven = 0
    for stop in reached:
        driven += stop.drive_seconds
        if stop.kind == "break" and stop.depart_seconds - stop.start_seconds >= needed:
            driven = 0
    return driven


def _position(problem: Problem, stop: Stop) -> tuple[float, float]:
    places = {place.id: (place.latitude, place.longitude) for place in places_of(problem)}
    return places[stop.id]


def _still_ahead(today: Iterable[Round], rest: Problem, happening: Happening) -> Plan:
    """What is left of the plan in force, as the place to begin the search."""
    on_the_road = [round_ for round_ in today if round_.tanker not in happening.off_the_road]
    unplanned = tuple(LeftOut(job=job.id, rule="urgent", why="New.") for job in happening.urgent)
    rounds = _ahead_in(rest, on_the_road, happening)
    return Plan(rounds=rounds, left_out=unplanned, missed_value_pence=0)


def _ahead_in(rest: Problem, today: Iterable[Round], happening: Happening) -> tuple[Round, ...]:
    """What lies ahead of each round, without the jobs that are no longer to be done."""
    left = {job.id for job in rest.jobs}
    rounds = []
    for round_ in today:
        ahead = _ahead(round_, happening).stops
        stops = tuple(stop for stop in ahead if stop.kind != "job" or stop.id in left)
        rounds.append(replace(round_, stops=stops))
    return tuple(rounds)
