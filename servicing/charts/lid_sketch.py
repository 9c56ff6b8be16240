"""Where a cover lies, drawn from two distances to two corners: it needs no signal and no map."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .marks import SCREEN, Palette, element, picture, words

SIZE = (420, 300)
MARGIN = 60.0
EARTH_M = 6_371_000.0
POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")


@dataclass(frozen=True)
class TwoCorners:
    """Distances in metres from two named corners to the cover, and from corner to corner."""

    corner: str
    corner_m: float
    other: str
    other_m: float
    apart_m: float

    @property
    def cover(self) -> tuple[float, float] | None:
        """Metres along the wall from the first corner, and out from it; None where they do not meet.

        Two circles meet where x = (a² - b² + w²) / 2w and y² = a² - x² (plane trigonometry).
        """
        if self.apart_m <= 0:
            return None
        along = (self.corner_m**2 - self.other_m**2 + self.apart_m**2) / (2 * self.apart_m)
        out = self.corner_m**2 - along**2
        return None if out < 0 else (along, math.sqrt(out))


def lid_sketch(told: TwoCorners, *, key: str, palette: Palette = SCREEN) -> str:
    """The sketch as SVG, the wall on top; empty where the distances do not meet."""
    cover = told.cover
    if cover is None:
        return ""
    left, right = min(0.0, cover[0]), max(told.apart_m, cover[0])
    scale = min(
        (SIZE[0] - 2 * MARGIN) / (right - left), (SIZE[1] - 2 * MARGIN) / max(cover[1], 0.5)
    )
    wall, end, x = (MARGIN + (metres - left) * scale for metres in (0, told.apart_m, cover[0]))
    y = MARGIN + cover[1] * scale

    def mark(name: str, look: str, **places: float) -> str:
        return element(name, palette.attributes(look), **places)

    def label(text: str, across: float, down: float, looks: str) -> str:
        return words(palette, text, (across, down), looks=looks, size=16)

    top = MARGIN - 12
    body = [
        mark("line", "shell", x1=wall, y1=MARGIN, x2=end, y2=MARGIN),
        mark("line", "lead", x1=wall, y1=MARGIN, x2=x, y2=y),
        mark("line", "lead", x1=end, y1=MARGIN, x2=x, y2=y),
        mark("circle", "dip", cx=x, cy=y, r=12),
        label("A", wall, top, "strong end"),
        label("B", end, top, "strong"),
        label(f"{told.apart_m:g} m", (wall + end) / 2, top, "soft middle"),
        label(f"{told.corner_m:g} m", (wall + x) / 2 - 8, (MARGIN + y) / 2, "strong end"),
        label(f"{told.other_m:g} m", (end + x) / 2 + 8, (MARGIN + y) / 2, "strong"),
        label("cover", x, y + 32, "middle"),
    ]
    where = f"{told.corner_m:g} m from A, {told.corner}; {told.other_m:g} m from B, {told.other}"
    return picture(
        key=key,
        title="Where the cover lies",
        description=f"The wall from A to B, and the cover {where}.",
        size=SIZE,
        body="".join(body),
    )


def away(here: tuple[float, float], there: tuple[float, float]) -> tuple[float, str]:
    """Metres and point of the compass from `here` to `there`, latitudes and longitudes.

    Equirectangular approximation: good to a centimetre over the hundred metres of a garden.
    """
    north = math.radians(there[0] - here[0]) * EARTH_M
    east = math.radians(there[1] - here[1]) * EARTH_M * math.cos(math.radians(here[0]))
    point = round(math.degrees(math.atan2(east, north)) / 45) % 8
    return math.hypot(north, east), POINTS[point]
