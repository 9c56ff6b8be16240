"""How good the forecasts were on invented homes: the one place that README and pages follow.

Taken from ``tests/benchmarks/forecasting_results.md``, which its command prints; a test holds the
three together.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

TRIED_ON = dt.date(2026, 11, 28)
HOMES = 3_000  # in each of three draws of every world
FLEET = 400  # other systems that had taught the rows "fleet"
PROMISED = 80  # percent of dates that the likely range is to hold
FEWEST = 72  # percent it should still hold where the truth is not as the model thinks


@dataclass(frozen=True, slots=True)
class Trial:
    """One invented world; four figures each, after none, one, two and three dips."""

    world: str
    taught_by: str
    held_percent: tuple[int, int, int, int]
    log_error: tuple[float, float, float, float]
    called: str  # in the results file

    @property
    def falls_short(self) -> bool:
        """Whether the range held less often than it should anywhere in the row."""
        return min(self.held_percent) < FEWEST

    @property
    def off_percent(self) -> tuple[int, ...]:
        """How far off half of the dates were at most, percent of the time from an emptying."""
        return tuple(round(100 * math.expm1(error)) for error in self.log_error)


TRIALS = (
    Trial(
        "the truth is as the model thinks", "book",
        (83, 82, 82, 80), (0.46, 0.29, 0.23, 0.19), "fits",
    ),
    Trial(
        "sludge rises in a straight line", "fleet",
        (85, 82, 81, 79), (0.42, 0.27, 0.22, 0.18), "straight line",
    ),
    Trial(
        "cold leaves a backlog", "fleet",
        (81, 81, 84, 85), (0.48, 0.34, 0.24, 0.20), "cold backlog",
    ),
    Trial(
        "cold leaves a backlog", "book",
        (78, 77, 80, 82), (0.54, 0.38, 0.27, 0.21), "cold backlog",
    ),
    Trial(
        "dips twice as wrong", "fleet",
        (83, 80, 79, 80), (0.46, 0.36, 0.29, 0.25), "dip error doubled",
    ),
    Trial(
        "dips twice as wrong", "book",
        (83, 74, 73, 74), (0.46, 0.38, 0.30, 0.25), "dip error doubled",
    ),
    Trial(
        "occupancy wrong", "fleet",
        (81, 78, 77, 77), (0.55, 0.34, 0.26, 0.23), "occupancy wrong",
    ),
    Trial(
        "occupancy wrong", "book",
        (74, 76, 76, 75), (0.55, 0.34, 0.26, 0.23), "occupancy wrong",
    ),
    Trial(
        "rates 1.8 times the book's", "fleet",
        (80, 79, 78, 80), (0.46, 0.24, 0.18, 0.16), "rates of 150",
    ),
    Trial(
        "rates 1.8 times the book's", "book",
        (63, 72, 74, 76), (0.70, 0.31, 0.23, 0.19), "rates of 150",
    ),
)  # fmt: skip
