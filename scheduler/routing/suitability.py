"""Which tanker could do which job on which day, and the sentence why not."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from scheduler.routing.problem import Job, Problem, Tanker


@dataclass(frozen=True, slots=True)
class Unsuitable:
    """Why one tanker cannot do one job: a short rule and the end of a sentence."""

    rule: str
    why: str


def unsuitable_tanker(job: Job, tanker: Tanker) -> Unsuitable | None:
    """Why this tanker can never do this job, on any day; None when it can."""
    return next(_tanker_faults(job, tanker), None)


def _tanker_faults(job: Job, tanker: Tanker) -> Iterator[Unsuitable]:
    if job.locked_tanker is not None and job.locked_tanker != tanker.id:
        yield Unsuitable("locked-tanker", f"it is tied to {job.locked_tanker}")
    if job.litres > tanker.capacity_litres:
        yield Unsuitable(
            "too-large",
            f"its {job.litres:,} L are more than the {tanker.capacity_litres:,} L it holds",
        )
    if _exceeds(tanker.width_m, job.max_width_m):
        yield Unsuitable(
            "lane-width", f"it is {tanker.width_m:g} m wide where {job.max_width_m:g} m pass"
        )
    if _exceeds(tanker.height_m, job.max_height_m):
        yield Unsuitable(
            "height", f"it is {tanker.height_m:g} m high where {job.max_height_m:g} m pass"
        )
    if _exceeds(tanker.gross_tonnes, job.max_tonnes):
        yield Unsuitable(
            "weight", f"it weighs {tanker.gross_tonnes:g} t where {job.max_tonnes:g} t are allowed"
        )
    if _exceeds(job.hose_needed_m, tanker.hose_m):
        yield Unsuitable(
            "hose", f"its {tanker.hose_m:g} m of hose do not reach {job.hose_needed_m:g} m"
        )
    if not tanker.takes(job.waste):
        yield Unsuitable("tanker-waste", "it may not carry this waste")


def _exceeds(needed: float | None, allowed: float | None) -> bool:
    return needed is not None and allowed is not None and needed > allowed


def usable_windows(
    problem: Problem, job: Job, tanker: Tanker, on: date
) -> tuple[tuple[int, int], ...]:
    """When the job may start on that day inside the tanker's shift; empty when it cannot.

    Also empty when the tanker is off, or when no open works would take the waste and the
    tanker must come home empty.
    """
    if on in tanker.off:
        return ()
    taken = any(works.takes((job.waste,)) for works in problem.works_open_on(on))
    if not (taken or tanker.may_end_loaded):
        return ()
    starts = tanker.shift_start_seconds
    ends = tanker.latest_end_seconds - job.service_seconds
    clipped = ((max(a, starts), min(b, ends)) for a, b in job.start_windows(on))
    return tuple(window for window in clipped if window[0] <= window[1])
