"""A job larger than any tanker that may be done in several visits becomes several jobs."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace

from scheduler.routing.problem import Job, Problem, Tanker
from scheduler.routing.suitability import unsuitable_tanker

MOST_PARTS = 6


def with_parts(problem: Problem, counts: Mapping[str, int] | None = None) -> Problem:
    """The problem with each job that is too large for its tankers cut into equal visits.

    Only jobs that allow it are cut. Each part takes the full time on site less what is saved
    by pumping less: half the time is set-up, half goes with the litres (common practice, no
    source). The value and the day's costs are shared out. `counts` says of jobs by id into how
    many visits they were cut before, and must be again whatever the tankers hold.
    """
    jobs: list[Job] = []
    for job in problem.jobs:
        count = (counts or {}).get(job.id)
        jobs += cut(job, count) if count else parts_of(job, problem.tankers)
    return replace(problem, jobs=tuple(jobs)) if len(jobs) > len(problem.jobs) else problem


def parts_of(job: Job, tankers: Iterable[Tanker]) -> list[Job]:
    """The job itself, or the visits it is cut into."""
    suiting = [
        tanker
        for tanker in tankers
        if (fault := unsuitable_tanker(job, tanker)) is None or fault.rule == "too-large"
    ]
    suiting = [each for each in suiting if unsuitable_tanker(replace(job, litres=0), each) is None]
    largest = max((tanker.capacity_litres for tanker in suiting), default=0)
    if not job.may_split or largest == 0 or job.litres <= largest:
        return [job]
    count = math.ceil(job.litres / largest)
    if count > MOST_PARTS:
        return [job]
    return cut(job, count)


def cut(job: Job, count: int) -> list[Job]:
    """The job as `count` equal visits; itself when that is one."""
    return [job] if count <= 1 else [_part(job, number, count) for number in range(count)]


def _part(job: Job, number: int, count: int) -> Job:
    litres = job.litres // count + (1 if number < job.litres % count else 0)
    share = litres / job.litres
    return replace(
        job,
        id=f"{job.id}#{number + 1}",
        part_of=job.id,
        litres=litres,
        litres_sd=job.litres_sd / math.sqrt(count),
        service_seconds=round(job.service_seconds * (0.5 + 0.5 * share)),
        value_pence=job.value_pence // count,
        late_pence_per_day=job.late_pence_per_day // count,
        early_pence_per_day=job.early_pence_per_day // count,
        day_cost_pence={day: pence // count for day, pence in job.day_cost_pence.items()},
    )
