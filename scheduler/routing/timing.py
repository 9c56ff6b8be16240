"""A driving order becomes a timed round: waits, breaks, the last tip, the latest start.

Timing never refuses an order: what cannot be kept is driven late and the checker names it.
Breaks are taken at stops. Of all places for the planned break the one is chosen that keeps
every window, then ends soonest, then makes the shortest day.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

from scheduler.routing.fleet import Tanker, Works
from scheduler.routing.problem import Problem
from scheduler.routing.roads import Roads, start_place
from scheduler.routing.round_costs import costs_of
from scheduler.routing.rounds import Round, Stop, StopKind
from scheduler.routing.tanker_clock import Node, TankerClock, Windows
from scheduler.routing.work import TankerStart


class Visit(NamedTuple):
    """A job or a tip in driving order, before it has a time."""

    kind: StopKind
    id: str


class PlannedBreak(NamedTuple):
    """A break that must start between two times of day when the round spans them."""

    seconds: int
    from_seconds: int
    until_seconds: int


def planned_break(tanker: Tanker) -> PlannedBreak | None:
    """The break to keep free in this tanker's day: its own, or the one its regime needs."""
    if tanker.break_seconds:
        return PlannedBreak(
            tanker.break_seconds, tanker.break_from_seconds, tanker.break_until_seconds
        )
    hours = tanker.driver_hours
    limit = hours.work_before_break_seconds
    if limit is None or tanker.longest_duty_seconds <= limit:
        return None
    start = tanker.shift_start_seconds
    return PlannedBreak(hours.work_break_seconds, start + limit // 2, start + limit)


@dataclass(frozen=True, slots=True)
class _Timed:
    """A timed order with the figures that decide between orders."""

    stops: tuple[Stop, ...]
    late: int
    end: int
    start: int

    @property
    def key(self) -> tuple[int, int, int]:
        return (self.late, self.end, self.end - self.start)


@dataclass(slots=True)
class _Day:
    """What stays the same while one tanker's day is timed in several ways."""

    roads: Roads
    tanker: Tanker
    start_place: str
    start: TankerStart | None

    def earliest(self) -> int:
        if self.start is None:
            return self.tanker.shift_start_seconds
        return max(self.start.at_seconds, self.tanker.shift_start_seconds)


def time_round(
    problem: Problem, roads: Roads, tanker: Tanker, on: date, visits: Sequence[Visit]
) -> Round:
    """Time a driving order; a last tip is added when the tanker must come home empty.

    Tips at a works that is shut that day or refuses what is on board go to the best works
    that does take it, where there is one.
    """
    start = problem.start_of(tanker.id, on)
    day = _Day(roads, tanker, start_place(problem, tanker, on), start)
    choices = _orders(problem, day, on, visits)
    best = min((_time_with_breaks(day, nodes) for nodes in choices), key=lambda timed: timed.key)
    on_duty_from = best.start if start is None else start.on_duty_from(best.start)
    return Round(
        tanker=tanker.id,
        on=on,
        stops=best.stops,
        on_duty_from_seconds=on_duty_from,
        costs=costs_of(problem, tanker, on, best.stops, best.end - on_duty_from),
    )


def _orders(problem: Problem, day: _Day, on: date, visits: Sequence[Visit]) -> Iterator[list[Node]]:
    """The visits as nodes, once for each works that could take the last load."""
    open_works = problem.works_open_on(on)
    nodes: list[Node] = []
    load = day.start.load_litres if day.start else 0
    wastes = set(day.start.loaded_wastes) if day.start else set()
    for visit in visits:
        if visit.kind == "job":
            job = problem.job(visit.id)
            windows = job.start_windows(on)
            nodes.append(Node("job", job.id, job.service_seconds, windows, job.litres))
            load += job.litres
            wastes.add(job.waste)
        elif load > 0:
            here = nodes[-1].id if nodes else day.start_place
            taking = [works for works in open_works if works.takes(wastes)]
            wanted = problem.works_by_id(visit.id)
            nodes.append(_tip_node(_best_works(day, here, wanted, taking)))
            load, wastes = 0, set()
    if load == 0 or day.tanker.may_end_loaded:
        yield nodes
        return
    taking = [works for works in open_works if works.takes(wastes)] or list(open_works)
    for works in taking:
        yield [*nodes, _tip_node(works)]
    if not taking:
        yield nodes


def _tip_node(works: Works) -> Node:
    window = (works.opens_seconds, works.closes_seconds - works.service_seconds)
    return Node("tip", works.id, works.service_seconds, (window,))


def _best_works(day: _Day, here: str, wanted: Works, taking: Sequence[Works]) -> Works:
    """The works asked for, or the nearest that takes the load when that one does not."""
    same = next((works for works in taking if works.id == wanted.id), None)
    if same is not None or not taking:
        return same or wanted
    return min(taking, key=lambda works: day.roads.seconds(here, works.id))


def _time_with_breaks(day: _Day, nodes: list[Node]) -> _Timed:
    """The best timing over every place the planned break could be taken."""
    without = _run_latest(day, nodes)
    wanted = planned_break(day.tanker)
    if wanted is None or (day.start is not None and day.start.break_taken):
        return without
    if without.start >= wanted.from_seconds or without.end <= wanted.until_seconds:
        return without
    timings = [_run_latest(day, order) for order in _break_places(day, nodes, without, wanted)]
    return min(timings, key=lambda timed: timed.key, default=without)


def _break_places(
    day: _Day, nodes: list[Node], without: _Timed, wanted: PlannedBreak
) -> Iterator[list[Node]]:
    """Orders with the break before or after each stop that could see its window."""
    lengths = {wanted.seconds}
    hours = day.tanker.driver_hours
    driven = sum(stop.drive_seconds for stop in without.stops)
    limit = hours.driving_before_break_seconds
    if limit is not None and driven > limit:
        lengths.add(max(wanted.seconds, hours.driving_break_seconds))
    window = ((wanted.from_seconds, wanted.until_seconds),)
    places = [day.start_place, *(node.id for node in nodes)]
    leaves = [stop.depart_seconds for stop in without.stops if stop.kind != "break"]
    # Resting at a stop left before the break may begin only adds waiting: begin at the last.
    begin = max(number for number, time in enumerate([0, *leaves[1:]]) if time <= window[0][0])
    for position, place in list(enumerate(places))[begin:]:
        if leaves[position] > wanted.until_seconds:
            # Later stops are only reached later still; before this one is the last chance.
            for length in sorted(lengths):
                yield _with_break(nodes, position - 1, place, length, window)
            return
        for length in sorted(lengths):
            yield _with_break(nodes, position, place, length, window)
            if position:
                yield _with_break(nodes, position - 1, place, length, window)


def _with_break(
    nodes: list[Node], position: int, place: str, length: int, window: Windows
) -> list[Node]:
    position = max(position, 0)
    return [*nodes[:position], Node("break", place, length, window), *nodes[position:]]


def _run_latest(day: _Day, nodes: list[Node]) -> _Timed:
    """Time an order from the earliest start, then leave as late as the end allows."""
    timed = _run(day, nodes, day.earliest())
    if day.start is not None or timed.late:
        return timed
    latest = _latest_departure(timed.stops, nodes)
    if latest <= timed.start:
        return timed
    later = _run(day, nodes, latest)
    return later if later.key <= timed.key else timed


def _latest_departure(stops: Sequence[Stop], nodes: Sequence[Node]) -> int:
    """The latest start of the first leg that moves no later stop past its window."""
    windows = {(node.kind, node.id): node.windows for node in nodes}
    latest = stops[-1].start_seconds
    for stop, following in zip(reversed(stops[:-1]), reversed(stops[1:]), strict=True):
        must_leave = latest - following.drive_seconds
        latest = must_leave - (stop.depart_seconds - stop.start_seconds)
        ends = [
            closes
            for opens, closes in windows.get((stop.kind, stop.id), ())
            if opens <= stop.start_seconds <= closes
        ]
        latest = min([latest, *ends])
    return latest


def _run(day: _Day, nodes: Sequence[Node], depart: int) -> _Timed:
    """Drive the order from one departure time, taking the breaks the regime forces."""
    load = day.start.load_litres if day.start else 0
    clock = TankerClock(
        day.roads, day.tanker.driver_hours, day.start_place, depart, load, worked_since=depart
    )
    if day.start is not None:
        clock.driven_since_break = day.start.driven_since_break_seconds
        if day.start.worked_since_seconds is not None:
            clock.worked_since = day.start.worked_since_seconds
    first = Stop(
        kind="base",
        id=day.start_place,
        arrive_seconds=depart,
        start_seconds=depart,
        depart_seconds=depart,
        load_after_litres=load,
        metres=0,
        drive_seconds=0,
    )
    clock.stops = [first]
    hours = day.tanker.driver_hours
    home = Node("base", day.tanker.base, 0, ((0, day.tanker.latest_end_seconds),))
    for node in (*nodes, home):
        if clock.needs_break_before(node):
            forced = max(hours.driving_break_seconds, hours.work_break_seconds)
            clock.take(Node("break", clock.place, forced, ((0, 2 * 86_400),)))
        clock.take(node)
    timed = _Timed(tuple(clock.stops), clock.late, clock.now, depart)
    on_duty_from = depart if day.start is None else day.start.on_duty_from(depart)
    over_duty = clock.now - on_duty_from - day.tanker.longest_duty_seconds
    return replace(timed, late=clock.late + over_duty) if over_duty > 0 else timed
