"""Past forecasts against what crews found: from what was stored, never worked out again.

A stored forecast says how full a system would be on the day of a later visit; a crew found so
many litres. The band of a forecast is for the level itself, a dip has its own error, so the
band is widened by the dip's error before it is said to have held.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from servicing.forecasting.learning import DIP_SHARE_ERROR, DIP_VOLUME_ERROR
from servicing.forecasting.outcomes import Curve

Floats = npt.NDArray[np.float64]
AGES_DAYS = (0, 90, 365, 730, 1_000_000)  # ages of forecasts told apart
TENTH = 1.2815515655446004  # normal score of 90 %


@dataclass(frozen=True, slots=True)
class Found:
    """One forecast and what was found: litres forecast for ``found_on``, and litres dipped."""

    made_on: date
    found_on: date
    p10: float
    p50: float
    p90: float
    found: float
    volume: float


@dataclass(frozen=True, slots=True)
class Record:
    """How forecasts of one range of ages did; shares between 0 and 1, NaN when there are none.

    ``held`` of the 80 % range, ``held_low`` and ``held_high`` where the true share lies with
    95 % certainty (Wilson 1927), ``error`` the median error as a share of the volume, ``bias``
    the median of found minus forecast, above 0 when tanks were fuller.
    """

    from_days: int
    to_days: int
    forecasts: int
    held: float
    held_low: float
    held_high: float
    error: float
    bias: float


def level_on(curve: Curve, day: date) -> tuple[float, float, float] | None:
    """Litres a stored curve forecast for a day, p10, p50, p90; None outside the curve."""
    if not curve.on[0] <= day <= curve.on[-1]:
        return None
    days = [on.toordinal() for on in curve.on]
    low, middle, high = (
        float(np.interp(day.toordinal(), days, line)) for line in (curve.p10, curve.p50, curve.p90)
    )
    return low, middle, high


def track_record(
    found: Sequence[Found], *, dip_error: float = 1.0, ages: Sequence[int] = AGES_DAYS
) -> tuple[Record, ...]:
    """One record for all forecasts, then one for each range of ages that has any."""
    records = [_record(found, dip_error, ages[0], ages[-1])]
    for low, high in pairwise(ages):
        some = [one for one in found if low <= (one.found_on - one.made_on).days < high]
        if some:
            records.append(_record(some, dip_error, low, high))
    return tuple(records)


def as_read(one: Found, dip_error: float) -> tuple[float, float]:
    """The 80 % range of what a dip would read: the level's range, widened by the dip's error."""
    error = TENTH * dip_error * math.hypot(DIP_SHARE_ERROR * one.p50, DIP_VOLUME_ERROR * one.volume)
    return (
        one.p50 - math.hypot(one.p50 - one.p10, error),
        one.p50 + math.hypot(one.p90 - one.p50, error),
    )


def _record(found: Sequence[Found], dip_error: float, low: int, high: int) -> Record:
    if not found:
        nan = math.nan
        return Record(low, high, 0, nan, nan, nan, nan, nan)
    held = 0
    for one in found:
        least, most = as_read(one, dip_error)
        # A range that reaches the floor or the outlet holds whatever lies beyond it.
        held += max(least, 0.0) <= one.found <= most or (one.found <= 0 and least <= 0)
    away = np.array([(one.found - one.p50) / one.volume for one in found])
    lower, upper = wilson(held, len(found))
    return Record(
        from_days=low,
        to_days=high,
        forecasts=len(found),
        held=held / len(found),
        held_low=lower,
        held_high=upper,
        error=float(np.median(np.abs(away))),
        bias=float(np.median(away)),
    )


def wilson(hits: int, tries: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22:209-212)."""
    z = 1.959963984540054
    share, root = hits / tries, z * z / tries
    middle = (share + root / 2) / (1 + root)
    reach = z * math.sqrt(share * (1 - share) / tries + root / (4 * tries)) / (1 + root)
    return max(0.0, middle - reach), min(1.0, middle + reach)
