"""Dips that contradict what was expected: what to ask the crew or the household."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import DIP
from servicing.forecasting.columns import Row
from servicing.forecasting.learning import SURPRISE
from servicing.forecasting.outcomes import Question
from servicing.forecasting.year_clock import DAYS_A_YEAR, EPOCH

FULLER = (
    "Measure again",
    "More people live there than we know",
    "It was not emptied when we think",
    "The outlet is blocked or the level stands too high",
)
EMPTIER = (
    "Measure again",
    "Fewer people live there, or it stood empty",
    "It was emptied and nobody told us",
    "The tank leaks or solids are washing out to the drainage field",
)


def questions_of(row: Row, surprise: npt.NDArray[np.float64]) -> tuple[Question, ...]:
    """One question for each dip more than SURPRISE standard deviations from its prediction.

    ``surprise`` (K,) belongs to the row's events; NaN where there is no dip.
    """
    found = []
    for event, score in zip(row.events, surprise, strict=False):
        if event[0] != DIP or not abs(score) > SURPRISE:
            continue
        day = _day(event[1])
        fuller = score > 0
        much = "fuller" if fuller else "emptier"
        text = f"The measurement of {day:%-d %B %Y} is much {much} than expected."
        code = f"much_{much}"
        found.append(Question(code, day, text, FULLER if fuller else EMPTIER))
    return tuple(found)


def _day(years: float) -> date:
    return EPOCH + timedelta(days=round(years * DAYS_A_YEAR))
