"""Several searches at once, one per processor core, each with its own seed.

The solver runs on one core. Each further search is this module run as a program: it reads a
pickled task from standard input and writes the pickled routes it found to standard output.
A plain program, not a pool: a worker of a task queue may not have children of the pool kind.
"""

import os
import pickle
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from pyvrp import Activity, ActivityType, ProblemData, Route, Solution

from scheduler.routing.search import Effort, Watch, best_of_starts, cost_of

PROJECT = Path(__file__).resolve().parents[2]
SEEDS_APART = 7919
GRACE_SECONDS = 30.0
LEAST_SECONDS = 0.1
Routes = list[tuple[int, list[tuple[bool, int]]]]


@dataclass(frozen=True, slots=True)
class Task:
    """What another process needs to search."""

    data: ProblemData
    effort: Effort
    initial: Routes | None
    asked_at: float = field(default_factory=time.time)
    asked_by: int = field(default_factory=os.getpid)

    @property
    def effort_left(self) -> Effort:
        """By the clock, starting up counts as searching: nobody waits for it afterwards."""
        if self.effort.seconds is None or self.effort.processor_time:
            return self.effort
        left = self.effort.seconds - (time.time() - self.asked_at)
        return replace(self.effort, seconds=max(left, LEAST_SECONDS))

    def is_orphan(self) -> bool:
        """Whether the process that wants the answer has died: then nobody waits for it."""
        return os.getppid() != self.asked_by


@dataclass(frozen=True, slots=True)
class Search:
    """One search to be made: where, how long, and from which start."""

    data: ProblemData
    effort: Effort
    initial: Solution | None


def search_on_cores(
    data: ProblemData, effort: Effort, *, initial: Solution | None, watch: Watch
) -> Solution:
    """The best of as many searches as `effort.processes`, this process doing one of them.

    With a limit of iterations the result is repeatable: the best is taken by cost, then by
    the order of the seeds. A process that fails or overruns is left out.
    """
    tasks = [
        Search(data, _with_seed(effort, number), initial) for number in range(effort.processes)
    ]
    found = search_side_by_side(tasks, watch)
    return min((each for each in found if each is not None), key=cost_of)


def search_side_by_side(tasks: Sequence[Search], watch: Watch) -> list[Solution | None]:
    """Each task searched at the same time, the first by this process, in the order given.

    None stands for a process that failed or overran, and for all but the first when the
    caller asked to stop.
    """
    first, *rest = tasks
    others = [_started(Task(e.data, e.effort, _routes_of(e.initial))) for e in rest]
    answers: list[Solution | None] = [None] * len(rest)
    try:
        found = best_of_starts(first.data, first.effort, initial=first.initial, watch=watch)
        if not watch.stopped:
            patience = None if first.effort.processor_time else GRACE_SECONDS
            answers = [
                _answer(task.data, other, patience)
                for task, other in zip(rest, others, strict=True)
            ]
    finally:
        for other in others:
            _ended(other)
    return [found, *answers]


def _with_seed(effort: Effort, number: int) -> Effort:
    seed = effort.seed + SEEDS_APART * number
    return replace(effort, seed=seed, first_way=effort.first_way + number, processes=1)


def _started(task: Task) -> "subprocess.Popen[bytes]":
    process = subprocess.Popen(
        [sys.executable, "-m", "scheduler.routing.processes"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        cwd=PROJECT,
    )
    assert process.stdin is not None
    with suppress(BrokenPipeError), process.stdin as pipe:
        pickle.dump(task, pipe)
    process.stdin = None
    return process


def _answer(
    data: ProblemData, process: "subprocess.Popen[bytes]", patience: float | None
) -> Solution | None:
    try:
        output, _ = process.communicate(timeout=patience)
    except subprocess.TimeoutExpired:
        return None
    if process.returncode != 0 or not output:
        return None
    routes: Routes = pickle.loads(output)  # noqa: S301 - written by this module's own process
    return _solution_of(data, routes)


def _ended(process: "subprocess.Popen[bytes]") -> None:
    """No process and no open pipe is left behind, whatever happened."""
    process.kill()
    process.wait()
    if process.stdout is not None:
        process.stdout.close()


def _routes_of(solution: Solution | None) -> Routes | None:
    if solution is None:
        return None
    return [
        (
            route.vehicle_type(),
            [(each.is_depot(), each.idx) for each in list(route.schedule())[1:-1]],
        )
        for route in solution.routes()
    ]


def _solution_of(data: ProblemData, routes: Routes) -> Solution:
    return Solution(
        data,
        [
            Route(data, [_activity(*each) for each in activities], kind)
            for kind, activities in routes
        ],
    )


def _activity(is_depot: bool, number: int) -> Activity:
    return Activity(ActivityType.DEPOT if is_depot else ActivityType.CLIENT, number)


def main() -> None:
    """Search once, as told on standard input."""
    task: Task = pickle.load(sys.stdin.buffer)  # noqa: S301 - written by this module's own process
    initial = None if task.initial is None else _solution_of(task.data, task.initial)
    best = best_of_starts(
        task.data, task.effort_left, initial=initial, watch=Watch(should_stop=task.is_orphan)
    )
    pickle.dump(_routes_of(best), sys.stdout.buffer)


if __name__ == "__main__":
    main()
