"""How good are the plans? One command: ``python -m tests.benchmarks.routing_report``.

Fixed seeds; every plan goes through the independent checker, every solution of a published
instance through its own check. Seconds are processor seconds of each of two searches side by
side, so that a busy machine gives the same figures. ``--only NAME`` runs one part, ``--quick``
a tenth of the time. The targets stand beside the figures; a part that misses its target says so.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from scheduler.routing.checker import check_plan
from scheduler.routing.days import Days
from scheduler.routing.left_out import screened
from scheduler.routing.moves import check_move
from scheduler.routing.plan import Effort, Plan, finished, plan_rounds
from scheduler.routing.problem import Problem, places_of
from scheduler.routing.processes import search_on_cores
from scheduler.routing.roads import Roads
from scheduler.routing.search import Watch, cost_of
from scheduler.routing.travel_times import StraightLine
from tests.benchmarks.routing_instances import (
    MULTI_TRIP,
    instances,
    kim_miles,
    multi_trip,
    multi_trip_faults,
)
from tests.benchmarks.routing_references import TANKERS, full_pence, plan_from, stored, the_day
from tests.benchmarks.routing_worlds import a_day, many_days


@dataclass(frozen=True)
class Line:
    """One line of the report."""

    what: str
    figure: str
    target: str
    reached: bool

    def __str__(self) -> str:
        """The line as printed."""
        return f"{self.what:58s} {self.figure:>34s}   {self.target:24s} {'yes' if self.reached else 'NO'}"


def two_cores(seconds: float, seed: int = 1) -> Effort:
    """Two searches of so many processor seconds each."""
    return Effort(seconds=seconds, seed=seed, processes=2, processor_time=True)


def published(scale: float) -> Iterator[Line]:
    """Multi-trip instances and the waste collection instance, 30 s each."""
    folder = instances()
    if folder is None:
        print("published instances: skipped, set EBBMARK_BENCHMARKS to their folder")  # noqa: T201
        return
    for name, allowed in MULTI_TRIP:
        data, best = multi_trip(folder, name)
        solution = search_on_cores(data, two_cores(30 * scale), initial=None, watch=Watch())
        faults = multi_trip_faults(data, solution)
        gap = 100 * (cost_of(solution) / best - 1)
        figure = f"{cost_of(solution)} ({gap:+.2f} % of {best}), {len(faults)} faults"
        yield Line(f"{name}, 30 s", figure, f"<= {allowed} % above", gap <= allowed and not faults)
    miles, plan, breaches = kim_miles(folder, two_cores(30 * scale))
    figure = f"{miles:.1f} miles, {len(plan.left_out)} left out, {breaches} breaches"
    sound = not breaches and not plan.left_out
    yield Line("Kim 277, 30 s, caps and lunch kept", figure, "<= 451 miles", miles <= 451 and sound)


def days_of_our_own(scale: float) -> Iterator[Line]:
    """Sixty jobs on three to eight tankers: 5 s against the best plan stored of long runs."""
    for tankers in TANKERS:
        problem, reference = the_day(tankers), stored()[str(tankers)]
        best = full_pence(problem, plan_from(problem, reference))
        for seed in (1, 2, 3):
            quick = plan_rounds(problem, effort=two_cores(5 * scale, seed=seed))
            gap = 100 * (full_pence(problem, quick) / best - 1)
            breaches = _breaches(problem, quick)
            figure = f"{full_pence(problem, quick) / 100:.0f} ({gap:+.2f} %), {breaches} breaches"
            what = f"60 jobs, {tankers} tankers, seed {seed}, 5 s"
            target = f"within 2 % of {best / 100:.0f}"
            yield Line(what, figure, target, gap <= 2 and breaches == 0)


def fortnight(scale: float) -> Iterator[Line]:
    """400 jobs, 10 days, 3 tankers: all days together against each day by itself."""
    gains = []
    for seed in (1, 2):
        problem = many_days(seed, jobs=400, days=10, tankers=3)
        by_day = _day_by_day(problem, two_cores(60 * scale))
        together = plan_rounds(problem, effort=two_cores(60 * scale))
        gain = 100 * (1 - full_pence(problem, together) / full_pence(problem, by_day))
        gains.append(gain)
        figure = (
            f"{gain:.2f} % cheaper, {_breaches(problem, together)} breaches, "
            f"{_required_out(problem, together)}/{_required_out(problem, by_day)} required out"
        )
        sound = _breaches(problem, together) == 0
        yield Line(
            f"400 jobs x 10 days x 3, seed {seed}, 60 s", figure, ">= 3 %", gain >= 3 and sound
        )


def _day_by_day(problem: Problem, effort: Effort) -> Plan:
    possible, left_out = screened(problem)
    roads = Roads(StraightLine().table(places_of(problem)))
    orders = Days(problem, roads, possible, Watch()).day_by_day(effort)
    return finished(problem, roads, orders, possible, left_out)


def _required_out(problem: Problem, plan: Plan) -> int:
    return sum(problem.job(line.job).required for line in plan.left_out)


def _breaches(problem: Problem, plan: Plan) -> int:
    return len(check_plan(problem, StraightLine().table(places_of(problem)), plan.rounds))


def large(scale: float) -> Iterator[Line]:
    """2,000 jobs, 20 days, 8 tankers in a process of its own, for its memory."""
    program = "from tests.benchmarks.routing_report import plan_large as p; import sys; p(float(sys.argv[1]))"
    done = subprocess.run(
        [sys.executable, "-c", program, str(scale)], capture_output=True, text=True, check=True
    )
    jobs, left, breaches, megabytes = (int(word) for word in done.stdout.split()[-4:])
    figure = f"{megabytes} MB, {jobs} planned, {left} left, {breaches} breaches"
    sound = megabytes <= 2048 and breaches == 0
    yield Line("2,000 jobs x 20 days x 8 tankers, 120 s", figure, "<= 2 GB, 0 breaches", sound)


def plan_large(scale: float) -> None:
    """Plan the large problem and print jobs planned, left out, breaches and memory in MB."""
    problem = many_days(5, jobs=2000, days=20, tankers=8)
    effort = Effort(seconds=120 * scale, processor_time=True)
    plan = plan_rounds(problem, effort=effort)
    planned = sum(len(round_.job_ids) for round_ in plan.rounds)
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(planned, len(plan.left_out), _breaches(problem, plan), megabytes)  # noqa: T201


def moves(_scale: float) -> Iterator[Line]:
    """A hand move checked: the 95th percentile of processor milliseconds."""
    problem = a_day(43, tankers=5)
    table = StraightLine().table(places_of(problem))
    roads = Roads(table)
    plan = plan_rounds(problem, effort=Effort(iterations=500))
    took = []
    for job in problem.jobs[:40]:
        for tanker in problem.tankers:
            began = time.process_time()
            check_move(
                problem, plan, table=table, job=job.id, to_tanker=tanker.id,
                on=problem.start, roads=roads,
            )  # fmt: skip
            took.append(1000 * (time.process_time() - began))
    worst = statistics.quantiles(took, n=20)[-1]
    figure = f"{statistics.median(took):.1f} ms median, {worst:.1f} ms p95"
    yield Line("move of one job to another tanker, checked", figure, "<= 100 ms", worst <= 100)


PARTS: dict[str, Callable[[float], Iterator[Line]]] = {
    "published": published,
    "moves": moves,
    "day": days_of_our_own,
    "fortnight": fortnight,
    "large": large,
}


def main() -> int:
    """Run the parts asked for and print their lines."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=PARTS, help="run one part")
    parser.add_argument("--quick", action="store_true", help="a tenth of the time")
    options = parser.parse_args()
    chosen = [options.only] if options.only else list(PARTS)
    reached = True
    for name in chosen:
        for line in PARTS[name](0.1 if options.quick else 1.0):
            print(line, flush=True)  # noqa: T201
            reached = reached and line.reached
    return 0 if reached else 1


if __name__ == "__main__":
    sys.exit(main())
