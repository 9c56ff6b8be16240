"""Where words at a line of a chart stand clear of what is drawn."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

LETTER = 7.2
Point = tuple[float, float]
# Of a curve: across, upper edge, lower edge. Heights grow downwards, as in SVG.
Stretch = tuple[float, float, float]


def clear_place(
    curve: Sequence[Stretch], marks: Sequence[Point], frame: Point, text: str, y: float
) -> Point:
    """Beginning and baseline of words at the line `y`: above it, else below; left, right, middle.

    Where nothing is clear they stand above it at the left.
    """
    width = LETTER * len(text)
    first, last = frame
    lefts = (first + 6, last - width - 6, (first + last - width) / 2)
    places = [(left, baseline) for baseline in (y - 7, y + 17) for left in lefts]
    for left, baseline in places:
        box = (left - 4, left + width + 4), (baseline - 13, baseline + 4)
        if not enters(curve, marks, *box):
            return left, baseline
    return places[0]


def enters(curve: Sequence[Stretch], marks: Sequence[Point], across: Point, down: Point) -> bool:
    """Whether the curve or a mark enters a box of the drawing."""
    (left, right), (top, bottom) = across, down
    for before, after in itertools.pairwise(curve):
        is_beside = after[0] < left or before[0] > right
        if not is_beside and min(before[1], after[1]) <= bottom and max(before[2], after[2]) >= top:
            return True
    return any(left - 6 <= x <= right + 6 and top - 6 <= y <= bottom + 6 for x, y in marks)
