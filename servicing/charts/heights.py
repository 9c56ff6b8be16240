"""How high a share of the volume stands in a drawn cross-section."""

from __future__ import annotations

import math
from collections.abc import Callable

Filled = Callable[[float], float]


def lying_cylinder(x: float) -> float:
    """Share of a circle below the height x (both 0 to 1): (acos c - c sqrt(1 - c²))/π, c = 1 - 2x."""
    c = 1 - 2 * x
    return (math.acos(c) - c * math.sqrt(max(0.0, 1 - c * c))) / math.pi


def sphere(x: float) -> float:
    """Share of a ball below the height x (both 0 to 1): x²(3 - 2x)."""
    return x * x * (3 - 2 * x)


def straight(x: float) -> float:
    """Share of an upright wall-sided tank below the height x."""
    return x


SHAPES: dict[str, Filled] = {"horizontal_cylinder": lying_cylinder, "sphere": sphere}


def height_share(shape: str, volume_share: float, outlet: float = 1.0) -> float:
    """Height, as a share of the outlet height, below which `volume_share` of the working volume is.

    `outlet` is the outlet height as a share of the whole inside height. Shapes without a formula of
    their own count as wall-sided. Found by halving: the share grows steadily with the height.
    """
    filled = SHAPES.get(shape, straight)
    wanted = min(1.0, max(0.0, volume_share)) * filled(outlet)
    low, high = 0.0, outlet
    for _ in range(40):
        middle = (low + high) / 2
        if filled(middle) < wanted:
            low = middle
        else:
            high = middle
    return high / outlet
