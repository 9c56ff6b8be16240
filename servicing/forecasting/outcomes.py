"""What a forecast says: for many systems side by side, and for one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from servicing.forecasting.faults import Assumption, Fault

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.datetime64]
MODEL_VERSION = "2026.2"


class State(StrEnum):
    """Whether a system could be forecast, and whether it was found over its trigger."""

    FORECAST = "forecast"
    OVER = "over"
    FAULTY = "faulty"


@dataclass(frozen=True, slots=True)
class Question:
    """A dip that contradicts what was expected: to be asked about, not believed in silence."""

    code: str
    on: date
    text: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """The chart: litres of sludge and scum on some days, likely range and middle."""

    on: tuple[date, ...]
    p10: tuple[float, ...]
    p50: tuple[float, ...]
    p90: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SystemForecast:
    """The forecast of one system. Litres and days; None is beyond 60 years."""

    reference: str
    state: State
    level_p10: float
    level_p50: float
    level_p90: float
    removal_p10: date | None
    removal_p50: date | None
    removal_p90: date | None
    due_on: date | None
    binding_rule: str
    by: tuple[date, ...]
    over_by: tuple[float, ...]
    over_now: float
    rate_p10: float
    rate_p50: float
    rate_p90: float
    persons_now: float
    working_volume: float
    trigger_litres: float
    since: date | None
    assumptions: tuple[Assumption, ...]
    questions: tuple[Question, ...]
    faults: tuple[Fault, ...]
    curve: Curve | None
    model: str = MODEL_VERSION


@dataclass(frozen=True, slots=True)
class Forecasts:
    """Forecasts of n systems, in the order given; arrays (n,), ``over_by`` (n, len(by)).

    A faulty system has NaN and NaT, the state FAULTY, and its faults in its place.
    """

    references: tuple[str, ...]
    by: tuple[date, ...]
    state: npt.NDArray[np.str_]
    level_p10: Floats
    level_p50: Floats
    level_p90: Floats
    removal_p10: Days
    removal_p50: Days
    removal_p90: Days
    due_on: Days
    binding_rule: npt.NDArray[np.str_]
    over_by: Floats
    over_now: Floats
    rate_p10: Floats
    rate_p50: Floats
    rate_p90: Floats
    persons_now: Floats
    working_volume: Floats
    trigger_litres: Floats
    since: list[date | None]
    assumptions: list[tuple[Assumption, ...]]
    questions: list[tuple[Question, ...]]
    faults: list[tuple[Fault, ...]]
    curves: list[Curve | None]

    def __len__(self) -> int:
        return len(self.references)

    def of(self, place: int) -> SystemForecast:
        """The forecast of the system in one place, as plain Python values."""
        return SystemForecast(
            reference=self.references[place],
            state=State(str(self.state[place])),
            binding_rule=str(self.binding_rule[place]),
            by=self.by,
            over_by=tuple(float(chance) for chance in self.over_by[place]),
            since=self.since[place],
            assumptions=self.assumptions[place],
            questions=self.questions[place],
            faults=self.faults[place],
            curve=self.curves[place],
            **self._numbers_of(place),
        )

    def _numbers_of(self, place: int) -> dict[str, Any]:
        numbers = {name: float(getattr(self, name)[place]) for name in _NUMBERS}
        return numbers | {name: getattr(self, name)[place].item() for name in _DATES}


_NUMBERS = (
    "level_p10", "level_p50", "level_p90", "over_now", "rate_p10", "rate_p50", "rate_p90",
    "persons_now", "working_volume", "trigger_litres",
)  # fmt: skip
_DATES = ("removal_p10", "removal_p50", "removal_p90", "due_on")


def blank_forecasts(references: Sequence[str], by: tuple[date, ...]) -> Forecasts:
    """Room for n forecasts, every one faulty until it is filled in."""
    n = len(references)
    blank: dict[str, Any] = {name: np.full(n, np.nan) for name in _NUMBERS}
    blank |= {name: np.full(n, np.datetime64("NaT", "D")) for name in _DATES}
    return Forecasts(
        references=tuple(references),
        by=by,
        state=np.full(n, State.FAULTY.value, dtype="U8"),
        binding_rule=np.full(n, "", dtype="U20"),
        over_by=np.full((n, len(by)), np.nan),
        since=[None] * n,
        assumptions=[()] * n,
        questions=[()] * n,
        faults=[()] * n,
        curves=[None] * n,
        **blank,
    )
