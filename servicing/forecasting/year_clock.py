"""Time as use: years since 1970, running only in the months a seasonal place is used.

A holiday let open from June to September fills in those months only. Its clock gains one
year of use in every calendar year, all of it between June and September, so that the
mathematics of steady use holds; dates are turned into use on the way in and back on the way out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.datetime64]
DAYS_A_YEAR = 365.25
EPOCH = date(1970, 1, 1)


def years_of(day: date) -> float:
    """Years of 365.25 days since 1 January 1970."""
    return (day - EPOCH).days / DAYS_A_YEAR


def season_table(season: tuple[int, int] | None) -> Floats:
    """Share of the year's use reached at the start of each month, shape (13,)."""
    if season is None:
        return np.linspace(0.0, 1.0, 13)
    first, last = season
    used = np.array([(month - first) % 12 <= (last - first) % 12 for month in range(1, 13)])
    return np.concatenate([[0.0], np.cumsum(used) / used.sum()])


@dataclass(frozen=True, slots=True)
class YearClock:
    """Use clocks of n systems: ``tables`` (n, 13) as :func:`season_table`, or None if all steady."""

    tables: Floats | None

    def use(self, years: Floats) -> Floats:
        """Calendar years (n, k) to years of use (n, k)."""
        if self.tables is None:
            return years
        whole = np.floor(years)
        month = np.minimum(np.floor((years - whole) * 12), 11).astype(np.intp)
        low = np.take_along_axis(self.tables, month, axis=1)
        high = np.take_along_axis(self.tables, month + 1, axis=1)
        return np.asarray(whole + low + (high - low) * ((years - whole) * 12 - month))

    def years(self, use: Floats) -> Floats:
        """Years of use (n, k) to the earliest calendar years (n, k) that reach them."""
        if self.tables is None:
            return use
        finite = np.where(np.isfinite(use), use, 0.0)
        whole = np.floor(finite)
        share = finite - whole
        month = (self.tables[:, None, 1:] < share[:, :, None]).sum(axis=2)
        month = np.minimum(month, 11)
        low = np.take_along_axis(self.tables, month, axis=1)
        high = np.take_along_axis(self.tables, month + 1, axis=1)
        step = np.where(high > low, (share - low) / np.maximum(high - low, 1e-12), 0.0)
        calendar = whole + (month + np.clip(step, 0.0, 1.0)) / 12
        return np.asarray(np.where(np.isfinite(use), calendar, use))


def days_of(years: Floats) -> Days:
    """Years since 1970 to days, rounded down; infinite or NaN becomes NaT."""
    known = np.isfinite(years)
    days = np.floor(np.where(known, years, 0.0) * DAYS_A_YEAR + 1e-6).astype("int64")
    dates = days.astype("datetime64[D]")
    return np.where(known, dates, np.datetime64("NaT", "D"))
