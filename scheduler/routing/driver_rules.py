"""The checker's part on the driver: breaks, driving spells and the regime's daily limits."""

from collections.abc import Iterator

from scheduler.routing.problem import Problem, Tanker
from scheduler.routing.rounds import Breach, Round

FIRST_PART_OF_SPLIT_SECONDS = 900


def driver_breaches(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    """Breaches of the tanker's own break and of its driver-hours regime."""
    yield from _own_break(problem, tanker, round_)
    yield from _daily_limits(problem, tanker, round_)
    yield from _driving_spells(problem, tanker, round_)
    yield from _working_spells(problem, tanker, round_)


def _own_break(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    """A round under way at both ends of the break's window holds a break that starts in it."""
    start = problem.start_of(tanker.id, round_.on)
    if not tanker.break_seconds or (start is not None and start.break_taken):
        return
    leaves, returns = round_.stops[0].depart_seconds, round_.stops[-1].arrive_seconds
    if leaves >= tanker.break_from_seconds or returns <= tanker.break_until_seconds:
        return
    for stop in round_.stops:
        long_enough = stop.depart_seconds - stop.start_seconds >= tanker.break_seconds
        in_time = tanker.break_from_seconds <= stop.start_seconds <= tanker.break_until_seconds
        if stop.kind == "break" and long_enough and in_time:
            return
    yield Breach(rule="break", why=f"{tanker.id} has no break at its time on {round_.on}.")


def _daily_limits(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    hours = tanker.driver_hours
    start = problem.start_of(tanker.id, round_.on)
    driven = sum(stop.drive_seconds for stop in round_.stops)
    on_duty = round_.stops[0].depart_seconds
    if start is not None:
        driven += start.driven_seconds
        on_duty = start.on_duty_from(on_duty)
    if hours.max_driving_seconds is not None and driven > hours.max_driving_seconds:
        why = (
            f"{driven // 60} min of driving; {hours.name} allows {hours.max_driving_seconds // 60}."
        )
        yield Breach(rule="driving-a-day", why=why)
    duty = round_.stops[-1].arrive_seconds - on_duty
    if hours.max_duty_seconds is not None and duty > hours.max_duty_seconds:
        why = f"{duty // 60} min on duty; {hours.name} allows {hours.max_duty_seconds // 60}."
        yield Breach(rule="driver-duty", why=why)


def _driving_spells(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    """No spell at the wheel over the limit without a full break, or 15 min then the rest."""
    hours = tanker.driver_hours
    limit = hours.driving_before_break_seconds
    if limit is None:
        return
    start = problem.start_of(tanker.id, round_.on)
    spell = 0 if start is None else start.driven_since_break_seconds
    first_part_taken = False
    for stop in round_.stops:
        spell += stop.drive_seconds
        if spell > limit:
            why = f"{spell // 60} min at the wheel without a full break before {stop.id}."
            yield Breach(rule="driving-break", why=why, job=stop.id if stop.kind == "job" else "")
            return
        if stop.kind == "break":
            rested = stop.depart_seconds - stop.start_seconds
            second_part = hours.driving_break_seconds * 2 // 3
            if rested >= hours.driving_break_seconds or (
                first_part_taken and rested >= second_part
            ):
                spell, first_part_taken = 0, False
            elif rested >= FIRST_PART_OF_SPLIT_SECONDS:
                first_part_taken = True


def _working_spells(problem: Problem, tanker: Tanker, round_: Round) -> Iterator[Breach]:
    """No stretch of work, waiting included, over the limit without a break."""
    limit = tanker.driver_hours.work_before_break_seconds
    if limit is None:
        return
    since = round_.stops[0].depart_seconds
    start = problem.start_of(tanker.id, round_.on)
    if start is not None and start.worked_since_seconds is not None:
        since = start.worked_since_seconds
    for stop in round_.stops[1:]:
        worked_until = stop.start_seconds if stop.kind == "break" else stop.depart_seconds
        if worked_until - since > limit:
            why = f"{(worked_until - since) // 60} min of work without a break by {stop.id}."
            yield Breach(rule="work-break", why=why, job=stop.id if stop.kind == "job" else "")
            return
        rested = stop.depart_seconds - stop.start_seconds
        if stop.kind == "break" and rested >= FIRST_PART_OF_SPLIT_SECONDS:
            since = stop.depart_seconds
