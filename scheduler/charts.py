"""Pictures of tanker days and of the weeks ahead: plain values in, SVG out.

Colours come from the style sheet by class name; every picture has a name and a description,
and stands beside a table that says the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from servicing.charts.marks import SCREEN, element, picture, tip, words

HOUR = 3600
WIDTH, EDGE = 1000, 12
LANE_TOP, LANE_HEIGHT = 30, 40
LETTER_WIDTH = 9
Kind = Literal["base", "job", "tip", "break"]


@dataclass(frozen=True)
class Mark:
    """One stop on a timeline; times in seconds after local midnight."""

    kind: Kind
    label: str
    says: str
    arrives: int
    starts: int
    departs: int
    grave: bool = False


@dataclass(frozen=True)
class WeekLoad:
    """Work falling due in a week against what the tankers could carry."""

    label: str
    jobs: int
    litres: float
    capacity_litres: float | None


def clock(seconds: int) -> str:
    """Seconds after midnight as people write a time."""
    return f"{seconds // HOUR:02d}:{seconds % HOUR // 60:02d}"


def timeline(marks: Sequence[Mark], *, key: str, title: str, shift: tuple[int, int]) -> str:
    """A tanker's day from left to right: driving is a line, stops are blocks.

    Jobs are filled, tips are outlined twice, breaks are hollow; each carries its letter, number
    or name, so that no colour is needed to tell them apart.
    """
    first = min([shift[0], *(mark.arrives for mark in marks)]) // HOUR * HOUR
    last = -(-max([shift[1], *(mark.departs for mark in marks)]) // HOUR) * HOUR
    scale = _Scale(first, max(last, first + HOUR))
    body = "".join(
        (
            _hours(scale),
            _shift(scale, shift),
            _driving(scale, marks),
            *(_block(scale, mark) for mark in marks if mark.kind != "base"),
            *(_end(scale, mark) for mark in marks if mark.kind == "base"),
        )
    )
    said = "; ".join(f"{clock(mark.starts)} {mark.says}" for mark in marks)
    height = LANE_TOP + LANE_HEIGHT + 14
    return picture(key=key, title=title, description=said, size=(WIDTH, height), body=body)


@dataclass(frozen=True)
class _Scale:
    first: int
    last: int

    def x(self, seconds: int) -> float:
        share = (seconds - self.first) / (self.last - self.first)
        return EDGE + share * (WIDTH - 2 * EDGE)


def _hours(scale: _Scale) -> str:
    parts = []
    bottom = LANE_TOP + LANE_HEIGHT + 8
    every = 1 if scale.last - scale.first <= 14 * HOUR else 2
    for hour in range(scale.first // HOUR, scale.last // HOUR + 1, every):
        x = scale.x(hour * HOUR)
        looks = SCREEN.attributes("grid")
        parts.append(element("line", looks, x1=x, x2=x, y1=LANE_TOP - 8, y2=bottom))
        at_edge = {scale.first: "", scale.last: "end"}.get(hour * HOUR, "middle")
        parts.append(words(SCREEN, clock(hour * HOUR), (x, 16), looks=f"soft {at_edge}", size=14))
    return "".join(parts)


def _shift(scale: _Scale, shift: tuple[int, int]) -> str:
    return element(
        "rect",
        SCREEN.attributes("shift"),
        tip(f"Shift {clock(shift[0])} to {clock(shift[1])}"),
        x=scale.x(shift[0]),
        y=LANE_TOP,
        width=scale.x(shift[1]) - scale.x(shift[0]),
        height=LANE_HEIGHT,
    )


def _driving(scale: _Scale, marks: Sequence[Mark]) -> str:
    middle = LANE_TOP + LANE_HEIGHT / 2
    legs = []
    for before, mark in pairwise(marks):
        if mark.arrives > before.departs:
            legs.append(
                element(
                    "line",
                    SCREEN.attributes("drive"),
                    tip(f"Driving {clock(before.departs)} to {clock(mark.arrives)}"),
                    x1=scale.x(before.departs),
                    x2=scale.x(mark.arrives),
                    y1=middle,
                    y2=middle,
                )
            )
    return "".join(legs)


def _block(scale: _Scale, mark: Mark) -> str:
    left, right = scale.x(mark.starts), scale.x(mark.departs)
    width = max(right - left, 3)
    looks = f"stop-{mark.kind}" + (" stop-grave" if mark.grave else "")
    parts = [_box(looks, left, width, 0, tip(mark.says))]
    if mark.kind == "tip" and width > 10:
        parts.append(_box("stop-inner", left, width, 3))
    if width >= LETTER_WIDTH * len(mark.label):
        at = (left + width / 2, LANE_TOP + LANE_HEIGHT / 2 + 5)
        parts.append(words(SCREEN, mark.label, at, looks=f"middle strong on-{mark.kind}", size=14))
    return "".join(parts)


def _box(looks: str, left: float, width: float, inside: float, content: str = "") -> str:
    return element(
        "rect",
        SCREEN.attributes(looks),
        content,
        rx=3,
        x=left + inside,
        y=LANE_TOP + inside,
        width=width - 2 * inside,
        height=LANE_HEIGHT - 2 * inside,
    )


def _end(scale: _Scale, mark: Mark) -> str:
    return element(
        "circle",
        SCREEN.attributes("stop-base"),
        tip(mark.says),
        cx=scale.x(mark.starts),
        cy=LANE_TOP + LANE_HEIGHT / 2,
        r=6,
    )


MOST_LABELS = 16  # dates that stand under the bars without touching


def weeks(loads: Sequence[WeekLoad], *, key: str, title: str) -> str:
    """Litres falling due by week as bars, what the tankers can carry as a stepped line."""
    height, top, bottom = 300, 16, 262
    most = max([1.0, *(max(load.litres, load.capacity_litres or 0) for load in loads)])
    step = (WIDTH - 2 * EDGE - 60) / max(len(loads), 1)
    every = -(-len(loads) // MOST_LABELS)
    parts = [_litres_axis(most, top, bottom)]
    line = []
    for number, load in enumerate(loads):
        left = EDGE + 60 + number * step
        tall = load.litres / most * (bottom - top)
        known = load.capacity_litres is not None
        over = " week-over" if known and load.litres > (load.capacity_litres or 0) else ""
        says = f"Week of {load.label}: {load.jobs} jobs, {load.litres:,.0f} L"
        parts.append(
            element(
                "rect",
                SCREEN.attributes(f"week{over}"),
                tip(says),
                x=left + step * 0.15,
                y=bottom - tall,
                width=step * 0.7,
                height=tall,
            )
        )
        if number % every == 0:
            place = (left + step / 2, bottom + 20)
            parts.append(words(SCREEN, load.label, place, looks="middle soft", size=13))
        can = bottom - (load.capacity_litres or 0) / most * (bottom - top)
        if known:
            line += [f"{left:.1f},{can:.1f}", f"{left + step:.1f},{can:.1f}"]
    if line:
        parts.append(element("polyline", SCREEN.attributes("capacity"), points=" ".join(line)))
    said = "; ".join(f"{load.label} {load.jobs} jobs {load.litres:,.0f} L" for load in loads)
    return picture(
        key=key, title=title, description=said, size=(WIDTH, height), body="".join(parts)
    )


def _litres_axis(most: float, top: float, bottom: float) -> str:
    parts = []
    for share in (0.0, 0.5, 1.0):
        y = bottom - share * (bottom - top)
        looks = SCREEN.attributes("grid")
        parts.append(element("line", looks, x1=EDGE + 60, x2=WIDTH - EDGE, y1=y, y2=y))
        label = f"{most * share / 1000:,.0f} m³"
        parts.append(words(SCREEN, label, (EDGE + 54, y + 5), looks="end soft", size=13))
    return "".join(parts)
