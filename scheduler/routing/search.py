"""The search itself: how long, with which seed, from which start; knows no tankers or jobs."""

import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from pyvrp import ProblemData, RandomNumberGenerator, Solution
from pyvrp.exceptions import PenaltyBoundWarning, ScalingWarning
from pyvrp.IteratedLocalSearch import (
    IteratedLocalSearch,
    IteratedLocalSearchCallbacks,
    IteratedLocalSearchParams,
)
from pyvrp.PenaltyManager import PenaltyManager, PenaltyParams
from pyvrp.search import (
    OPERATORS,
    LocalSearch,
    NeighbourhoodParams,
    PerturbationManager,
    PerturbationParams,
    Relocate3,
    Swap31,
    Swap32,
    Swap33,
    compute_neighbours,
)

from scheduler.routing.errors import BadQuantity

FEWEST_ITERATIONS_BETWEEN_REPORTS = 100
FIRST_PENALTY = 10_000.0
LARGEST_PENALTY = 1_000_000.0
SOLUTIONS_BETWEEN_UPDATES = 100
INFEASIBLE = 10**15
SEEDS_APART = 1009
# Ways to search: (length of the history an acceptance looks back on, largest perturbation, near
# places looked at). Measured on the published multi-trip instance RC203R0.25, 20 to 30 s: small
# perturbations let two to three times as many steps be taken and, with the larger exchanges
# below, halve the gap to the best known; fewer neighbours are now better, now worse, so several
# searches take turns.
WAYS = ((50, 10, 50), (50, 10, 30), (300, 25, 50))
WAYS_FOR_FEW = ((300, 25, 50), (50, 25, 50), (50, 10, 50))
FEW_CLIENTS = 30
LARGER_EXCHANGES = (Relocate3, Swap31, Swap32, Swap33)
UNITS_PER_PENNY = 100


@dataclass(frozen=True, kw_only=True, slots=True)
class Effort:
    """How hard to look: so many iterations (repeatable), or so many seconds.

    With iterations the same problem and seed give the same plan on any machine. `processes`
    above one starts that many searches with different seeds and keeps the best. With
    `processor_time` the seconds are those the search itself has used: a fair measure on a
    machine that does other work. `first_way` says which way of searching comes first.
    """

    iterations: int | None = None
    seconds: float | None = None
    seed: int = 1
    processes: int = 1
    processor_time: bool = False
    first_way: int = 0

    def __post_init__(self) -> None:
        """Exactly one limit, above zero."""
        limits = [limit for limit in (self.iterations, self.seconds) if limit is not None]
        if len(limits) != 1 or limits[0] <= 0:
            message = "Give either iterations or seconds, above zero."
            raise BadQuantity(message, field="iterations")
        if self.processes < 1:
            raise BadQuantity("At least one process is needed.", field="processes")


@dataclass(frozen=True, kw_only=True, slots=True)
class Progress:
    """How far the search is."""

    seconds: float
    iterations: int
    cost_pence: int
    jobs_planned: int


@dataclass(slots=True)
class Watch:
    """What the caller wants to hear, and whether he wants the search to end."""

    progress: Callable[[Progress], None] | None = None
    should_stop: Callable[[], bool] | None = None
    began: float = field(default_factory=time.monotonic)

    @property
    def stopped(self) -> bool:
        """Whether the caller wants the search to end."""
        return self.should_stop is not None and self.should_stop()


class _Observer(IteratedLocalSearchCallbacks):
    """Passes progress on at most twice a second."""

    def __init__(self, watch: Watch) -> None:
        self._watch = watch
        self._told = time.monotonic()
        self._iterations = 0

    def on_iteration(self, current: Any, candidate: Any, best: Any, cost_evaluator: Any) -> None:
        """Count, and report now and then."""
        self._iterations += 1
        if self._watch.progress is None or self._iterations % FEWEST_ITERATIONS_BETWEEN_REPORTS:
            return
        now = time.monotonic()
        if now - self._told >= 0.5:
            self._told = now
            self._watch.progress(
                Progress(
                    seconds=now - self._watch.began,
                    iterations=self._iterations,
                    cost_pence=best.distance_cost() // UNITS_PER_PENNY
                    + best.duration_cost() // UNITS_PER_PENNY,
                    jobs_planned=best.num_clients(),
                )
            )


class _Stop:
    """Stops at the limit, or when the caller says so."""

    def __init__(self, effort: Effort, watch: Watch) -> None:
        self._effort = effort
        self._watch = watch
        self._began: float | None = None
        self._iterations = 0

    def __call__(self, best_cost: float) -> bool:
        clock = time.process_time if self._effort.processor_time else time.monotonic
        if self._began is None:
            self._began = clock()
        if self._watch.stopped:
            return True
        if self._effort.iterations is not None:
            self._iterations += 1
            return self._iterations > self._effort.iterations
        assert self._effort.seconds is not None
        return clock() - self._began >= self._effort.seconds


def best_of_starts(
    data: ProblemData,
    effort: Effort,
    *,
    initial: Solution | None = None,
    watch: Watch | None = None,
) -> Solution:
    """The best solution over one or, for a small problem, several starts within one effort.

    Few jobs leave a local search little to climb over: it is quick, and best begun anew.
    """
    watch = watch or Watch()
    with warnings.catch_warnings():
        # A tight day is told by the jobs left out, not by a warning.
        warnings.simplefilter("ignore", PenaltyBoundWarning)
        warnings.simplefilter("ignore", ScalingWarning)
        return min(_starts(data, effort, initial, watch), key=cost_of)


def _starts(
    data: ProblemData, effort: Effort, initial: Solution | None, watch: Watch
) -> list[Solution]:
    starts = 1 if initial is not None else _starts_for(data.num_clients)
    shares = [_share(effort, starts, number) for number in range(starts)]
    return [_search_locally(data, share, initial, watch) for share in shares]


def _starts_for(clients: int) -> int:
    return 8 if clients <= 12 else 4 if clients <= FEW_CLIENTS else 1


def _share(effort: Effort, starts: int, number: int) -> Effort:
    iterations, seconds = effort.iterations, effort.seconds
    return replace(
        effort,
        iterations=None if iterations is None else max(iterations // starts, 1),
        seconds=None if seconds is None else seconds / starts,
        seed=effort.seed + SEEDS_APART * number,
        first_way=effort.first_way + number,
    )


def cost_of(solution: Solution) -> int:
    """Cost of a solution in the solver's units; one that breaks a rule costs more than any."""
    cost = solution.distance_cost() + solution.duration_cost() + solution.uncollected_prizes()
    cost += solution.fixed_vehicle_cost()
    return cost if solution.is_feasible() else cost + INFEASIBLE


def _search_locally(
    data: ProblemData, effort: Effort, initial: Solution | None, watch: Watch
) -> Solution:
    """Iterated local search from one start.

    Penalties for a litre or a second too much begin at the order of what driving costs: at
    the library's own beginning they are so high for our units that the search never passes
    through an overfull round, and finds one start in twenty instead of thirteen.
    """
    ways = WAYS if data.num_clients > FEW_CLIENTS else WAYS_FOR_FEW
    history, perturbations, near = ways[effort.first_way % len(ways)]
    chance = RandomNumberGenerator(seed=effort.seed)
    local = LocalSearch(
        data,
        chance,
        compute_neighbours(data, NeighbourhoodParams(num_neighbours=near)),
        PerturbationManager(PerturbationParams(1, perturbations)),
    )
    for operator in (*OPERATORS, *LARGER_EXCHANGES):
        if operator.supports(data):
            local.add_operator(operator(data))
    params = PenaltyParams(
        solutions_between_updates=SOLUTIONS_BETWEEN_UPDATES, max_penalty=LARGEST_PENALTY
    )
    first = ([FIRST_PENALTY] * data.num_load_dimensions, FIRST_PENALTY, FIRST_PENALTY)
    penalties = PenaltyManager(first, params)
    if initial is None:
        random = Solution.make_random(data, chance)
        initial = local(random, penalties.max_cost_evaluator(), exhaustive=True)
    ils = IteratedLocalSearchParams(history_length=history, callbacks=_Observer(watch))
    algorithm = IteratedLocalSearch(data, penalties, local, initial, ils)
    return algorithm.run(_Stop(effort, watch), collect_stats=False).best
