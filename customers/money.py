"""Whole pence: how a sum is rounded, split and shared out by days. No rows, no dates of today.

Every sum is a whole number of pence. A fraction is rounded once, to the nearest penny, a half
away from nothing; a sum that is split is split so that the parts add up to it exactly.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from fractions import Fraction


def nearest(pence: Fraction) -> int:
    """Whole pence nearest to a fraction; a half goes away from nothing, for refunds as for bills."""
    whole = int(abs(pence) + Fraction(1, 2))
    return whole if pence >= 0 else -whole


def split(pence: int, weights: Sequence[int]) -> list[int]:
    """Parts of a sum in proportion to `weights`, in whole pence, that add up to it.

    Each part is rounded down; the pence left over go to the parts that lost most, of equal
    losers to the first (largest remainder). Raises ValueError without a positive weight.
    """
    total = sum(weights)
    if total <= 0 or min(weights) < 0:
        message = "A sum is split by weights of which none is negative and one is positive."
        raise ValueError(message)
    sign, size = (1, pence) if pence >= 0 else (-1, -pence)
    exact = [Fraction(size * weight, total) for weight in weights]
    parts = [int(one) for one in exact]
    lost = sorted(range(len(parts)), key=lambda place: (parts[place] - exact[place], place))
    for place in lost[: size - sum(parts)]:
        parts[place] += 1
    return [sign * part for part in parts]


def share_of_days(pence: int, days: int, of_days: int) -> int:
    """What `days` of a period of `of_days` days come to, to the nearest penny."""
    if not 0 <= days <= of_days or of_days <= 0:
        message = f"{days} of {of_days} days is no share of a period."
        raise ValueError(message)
    return nearest(Fraction(pence * days, of_days))


def vat_on(pence: int, percent: Fraction) -> int:
    """VAT on one line before VAT, to the nearest penny: rounded line by line, never on the sum."""
    return nearest(pence * percent / 100)


def months_after(day: dt.date, months: int) -> dt.date:
    """The same day of the month so many months on; the last of the month where it has none."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    for number in (day.day, 30, 29, 28):
        try:
            return dt.date(year, month + 1, number)
        except ValueError:
            continue
    raise AssertionError


def days_in(first: dt.date, last: dt.date) -> int:
    """Days from `first` to `last`, both counted; none where it runs backwards."""
    return max(0, (last - first).days + 1)
