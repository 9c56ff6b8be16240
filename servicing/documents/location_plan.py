"""A plan of where the parts lie, drawn to scale from their positions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape

FONT = "Atkinson Hyperlegible"
INK, SOFT = "#14262c", "#47585d"
SIDE, MARGIN = 420.0, 46.0
# A degree of latitude on a sphere of 6,371,009 m (mean radius of the Earth, IUGG).
METRES_PER_DEGREE = 6_371_009 * math.pi / 180
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)


@dataclass(frozen=True, kw_only=True)
class PlanPoint:
    """A part with its position in degrees (WGS 84)."""

    label: str
    latitude: float
    longitude: float


def offsets(points: tuple[PlanPoint, ...]) -> list[tuple[float, float]]:
    """Metres east and north of the first point; exact to a centimetre over a kilometre."""
    first = points[0]
    per_east = METRES_PER_DEGREE * math.cos(math.radians(first.latitude))
    return [
        (
            (point.longitude - first.longitude) * per_east,
            (point.latitude - first.latitude) * METRES_PER_DEGREE,
        )
        for point in points
    ]


def distance_words(points: tuple[PlanPoint, ...]) -> list[str]:
    """Each later point as seen from the first: 12 m north-east of the cover."""
    words = []
    for point, (east, north) in zip(points[1:], offsets(points)[1:], strict=True):
        away = math.hypot(east, north)
        where = compass(east, north) if away >= 0.5 else "beside"
        words.append(f"{point.label}: {away:.0f} m {where} of {points[0].label.lower()}")
    return words


def compass(east: float, north: float) -> str:
    """Direction in one of eight words."""
    names = [
        "north",
        "north-east",
        "east",
        "south-east",
        "south",
        "south-west",
        "west",
        "north-west",
    ]
    return names[round(math.degrees(math.atan2(east, north)) / 45) % 8]


def location_plan(points: tuple[PlanPoint, ...]) -> str:
    """SVG with north up, a scale bar and every point; ValueError where there is no point."""
    if not points:
        message = "There is no position to draw."
        raise ValueError(message)
    places = offsets(points)
    spans = [max(axis) - min(axis) for axis in zip(*places, strict=True)]
    span = max(*spans, 4.0)
    scale = (SIDE - 2 * MARGIN) / span
    middle = [(max(axis) + min(axis)) / 2 for axis in zip(*places, strict=True)]
    marks = []
    for number, (east, north) in enumerate(places, start=1):
        x = SIDE / 2 + (east - middle[0]) * scale
        y = SIDE / 2 - (north - middle[1]) * scale
        marks.append(_mark(x, y, number))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIDE:.0f} {SIDE:.0f}">'
        f'<rect width="{SIDE:.0f}" height="{SIDE:.0f}" fill="#f7f5ef" stroke="#b9b4a6"/>'
        f"{_north()}{_bar(scale, span)}{''.join(marks)}</svg>"
    )


def _mark(x: float, y: float, number: int) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="11" fill="#ffffff" stroke="{INK}" '
        f'stroke-width="2"/>{_text(x, y + 5, str(number), "middle")}'
    )


def _north() -> str:
    x = SIDE - 26
    return f'<path d="M{x} 18l8 26-8-6-8 6z" fill="{INK}"/>{_text(x, 60, "N", "middle")}'


def _bar(scale: float, span: float) -> str:
    metres = max(step for step in STEPS if step <= max(1.0, span / 3))
    y, wide = SIDE - 18, metres * scale
    return (
        f'<path d="M18 {y - 6}v6h{wide:.1f}v-6" fill="none" stroke="{SOFT}" stroke-width="2"/>'
        f"{_text(18 + wide + 6, y, f'{metres} m', 'start')}"
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="{FONT}" font-size="14" fill="{INK}" '
        f'text-anchor="{anchor}">{escape(words)}</text>'
    )
