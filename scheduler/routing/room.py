"""Whether a round could have room for one more job: a quick look before any timing.

Timing an order in every way is exact and slow. Most rounds are so full that a sum of minutes
settles it: what is driven, done and rested, and what the job would add at the very least.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import pairwise

from scheduler.routing.fleet import Tanker, Works
from scheduler.routing.problem import Job, Problem
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Round


def seconds_short(
    problem: Problem, roads: Roads, job: Job, *, tanker: Tanker, on: date, round_: Round | None
) -> int:
    """Seconds that are surely missing to add the job to that day; zero or less: it may fit.

    Waiting is not counted as busy: another order might not wait.
    """
    free = _longest(problem, tanker, on)
    works = problem.works_open_on(on)
    if round_ is None or not round_.job_ids:
        return _alone(roads, tanker, works, job) - free
    busy = sum(s.drive_seconds + s.depart_seconds - s.start_seconds for s in round_.stops)
    return busy + _least_detour(roads, round_, job) + _extra_tip(tanker, works, round_, job) - free


def _longest(problem: Problem, tanker: Tanker, on: date) -> int:
    """The longest day there can be, from where the tanker stands."""
    longest = tanker.longest_duty_seconds
    start = problem.start_of(tanker.id, on)
    if start is None:
        return min(longest, tanker.latest_end_seconds - tanker.shift_start_seconds)
    gone = max(start.at_seconds - start.on_duty_from(start.at_seconds), 0)
    return min(longest - gone, tanker.latest_end_seconds - start.at_seconds)


def _alone(roads: Roads, tanker: Tanker, works: Sequence[Works], job: Job) -> int:
    out = roads.seconds(tanker.base, job.id) + job.service_seconds
    if tanker.may_end_loaded or not works:
        return out + roads.seconds(job.id, tanker.base)
    return out + min(
        roads.seconds(job.id, each.id) + each.service_seconds + roads.seconds(each.id, tanker.base)
        for each in works
    )


def _least_detour(roads: Roads, round_: Round, job: Job) -> int:
    """Driving to the job between two stops instead of straight on, and the work there."""
    to, away = roads.table.seconds[:, roads.row[job.id]], roads.table.seconds[roads.row[job.id]]
    rows = [roads.row[stop.id] for stop in round_.stops]
    direct = roads.table.seconds
    detour = min(int(to[a]) + int(away[b]) - int(direct[a, b]) for a, b in pairwise(rows))
    return max(detour, 0) + job.service_seconds


def _extra_tip(tanker: Tanker, works: Iterable[Works], round_: Round, job: Job) -> int:
    """A tip more when the whole tank, over all trips of the round, is too small for the job."""
    trips = max(round_.tips, 1)
    if round_.litres + job.litres <= trips * tanker.capacity_litres:
        return 0
    return min((each.service_seconds for each in works), default=0)
