"""Where to tip: the cheapest places to break a driving order of jobs into trips."""

from collections.abc import Sequence
from datetime import date

from scheduler.routing.fleet import Tanker, Works
from scheduler.routing.problem import Problem
from scheduler.routing.roads import Roads, start_place
from scheduler.routing.timing import Visit


def with_tips(
    problem: Problem, roads: Roads, tanker: Tanker, on: date, job_ids: Sequence[str]
) -> tuple[Visit, ...]:
    """The jobs in this order with the fewest pence of tips that keep the tank from overfilling.

    The last tip of the day is left to the timing. Exact for the order given, by distance,
    driver's time and charges per visit; a job that alone overfills the tank stays, for the
    checker to name.
    """
    works = problem.works_open_on(on)
    visits = [Visit("job", job) for job in job_ids]
    if not works:
        return tuple(visits)
    start = problem.start_of(tanker.id, on)
    first_load = 0 if start is None else start.load_litres
    litres = [problem.job(job).litres for job in job_ids]
    places = [start_place(problem, tanker, on), *job_ids]
    best: list[float] = [0.0] + [float("inf")] * len(visits)
    cut: list[tuple[int, Works | None]] = [(0, None)] * (len(visits) + 1)
    for end in range(1, len(visits) + 1):
        load = 0
        for begin in range(end - 1, -1, -1):
            load += litres[begin]
            carried = first_load if begin == 0 else 0
            if load > tanker.capacity_litres and begin < end - 1:
                break
            for stop in _ways_to_begin(works, begin, carried, load, tanker):
                detour = _detour(roads, tanker, stop, places[begin], job_ids[begin])
                if best[begin] + detour < best[end]:
                    best[end], cut[end] = best[begin] + detour, (begin, stop)
    return _read_back(visits, cut)


def _ways_to_begin(
    works: Sequence[Works], begin: int, carried: int, load: int, tanker: Tanker
) -> list[Works | None]:
    """What may happen before a trip: nothing for the first when all fits, or a tip."""
    tips: list[Works | None] = list(works)
    if begin > 0:
        return tips
    if carried == 0:
        return [None]
    return [None, *tips] if carried + load <= tanker.capacity_litres else tips


def _detour(roads: Roads, tanker: Tanker, works: Works | None, here: str, onward: str) -> float:
    """Pence that a tip between two places adds; nothing for no tip."""
    if works is None:
        return 0.0
    extra = roads.leg_pence(tanker, here, works.id) + roads.leg_pence(tanker, works.id, onward)
    extra -= roads.leg_pence(tanker, here, onward)
    time = works.service_seconds * tanker.pence_per_hour / 3600
    # A hair's breadth per tip, so that free driving never buys needless ones.
    return extra + time + works.charge_pence_per_visit + 1e-3


def _read_back(
    visits: Sequence[Visit], cut: Sequence[tuple[int, Works | None]]
) -> tuple[Visit, ...]:
    order: list[Visit] = []
    end = len(visits)
    while end > 0:
        begin, tip = cut[end]
        trip = list(visits[begin:end])
        order = ([Visit("tip", tip.id)] if tip is not None else []) + trip + order
        end = begin
    return tuple(order)
