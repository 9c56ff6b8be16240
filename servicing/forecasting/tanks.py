"""Tanks of one or more compartments: dips and clear spaces to litres of working volume."""

from __future__ import annotations

import math
from dataclasses import dataclass

from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.geometry import Shape, require_lengths

MOST_LITRES = 1_000_000.0  # nothing this software looks after is larger: no source


@dataclass(frozen=True, slots=True)
class Compartment:
    """One compartment: its shape and the height of the outlet's invert above its floor."""

    shape: Shape
    outlet_height_mm: float

    def __post_init__(self) -> None:
        require_lengths(outlet_height_mm=self.outlet_height_mm)
        if self.outlet_height_mm > self.shape.full_height_mm + 1e-9:
            raise BadMeasure("outlet_height_mm", "outlet_height_mm is above the top of the tank")

    @property
    def working_volume_litres(self) -> float:
        """Litres below the outlet."""
        return float(self.shape.litres_below(self.outlet_height_mm))


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank known by its compartments, by the volume on its plate, or both.

    With both, the shape gives shares and the stated volume the litres.
    """

    working_volume_litres: float | None = None
    compartments: tuple[Compartment, ...] = ()

    def __post_init__(self) -> None:
        stated = self.working_volume_litres
        if stated is None and not self.compartments:
            raise BadMeasure(
                "working_volume_litres",
                "working_volume_litres is missing, and there is no shape either",
            )
        if stated is not None and not (math.isfinite(stated) and 0 < stated <= MOST_LITRES):
            message = f"working_volume_litres must be between 0 and 1 000 000, not {stated}"
            raise BadMeasure("working_volume_litres", message)

    @property
    def shape_litres(self) -> float:
        """Working volume by the shape alone, litres."""
        return sum(part.working_volume_litres for part in self.compartments)

    @property
    def volume_litres(self) -> float:
        """Working volume, litres."""
        if self.working_volume_litres is not None:
            return self.working_volume_litres
        return self.shape_litres

    @property
    def litres_per_shape_litre(self) -> float:
        """What a litre of the drawn shape stands for, so that plate and drawing agree."""
        return self.volume_litres / self.shape_litres if self.compartments else 1.0


def solids_litres(
    tank: Tank, sludge_mm: float, scum_mm: float = 0.0, compartment: int = 0
) -> tuple[float, float]:
    """Litres of sludge and of scum in one compartment, below the outlet.

    ``sludge_mm`` is the depth of sludge above the floor, ``scum_mm`` the thickness of scum
    below the liquid level, which stands at the outlet. Raises ValueError for a compartment
    that does not exist, depths below zero or together deeper than the outlet.
    """
    if not 0 <= compartment < len(tank.compartments):
        raise BadMeasure(
            "compartment", f"there is no compartment {compartment + 1} with known dimensions"
        )
    part = tank.compartments[compartment]
    for name, depth in (("sludge_mm", sludge_mm), ("scum_mm", scum_mm)):
        if not math.isfinite(depth) or depth < 0:
            raise BadMeasure(name, f"{name} must be 0 mm or more, not {depth}")
    if sludge_mm + scum_mm > part.outlet_height_mm + 1e-9:
        raise BadMeasure(
            "sludge_mm",
            f"sludge and scum of {sludge_mm + scum_mm:g} mm are deeper than the "
            f"{part.outlet_height_mm:g} mm below the outlet",
        )
    scale = tank.litres_per_shape_litre
    sludge = float(part.shape.litres_below(sludge_mm))
    under_scum = float(part.shape.litres_below(max(0.0, part.outlet_height_mm - scum_mm)))
    return sludge * scale, (part.working_volume_litres - under_scum) * scale


def sludge_mm_from_clear_space(part: Compartment, clear_mm: float) -> float:
    """Depth of sludge from the clear space between its top and the outlet, mm."""
    return _from_clear_space(part, clear_mm)


def scum_mm_from_clear_space(
    part: Compartment, dip_pipe_bottom_below_outlet_mm: float, clear_mm: float
) -> float:
    """Thickness of scum from the clear space between its bottom and the dip pipe's bottom, mm."""
    if not 0 <= dip_pipe_bottom_below_outlet_mm <= part.outlet_height_mm:
        raise BadMeasure(
            "dip_pipe_bottom_below_outlet_mm",
            "the dip pipe must end between the outlet and the floor",
        )
    if not 0 <= clear_mm <= dip_pipe_bottom_below_outlet_mm:
        raise BadMeasure(
            "clear_mm", f"clear_mm must be between 0 and the dip pipe's depth, not {clear_mm}"
        )
    return dip_pipe_bottom_below_outlet_mm - clear_mm


def _from_clear_space(part: Compartment, clear_mm: float) -> float:
    if not 0 <= clear_mm <= part.outlet_height_mm:
        raise BadMeasure(
            "clear_mm", f"clear_mm must be between 0 and the outlet height, not {clear_mm}"
        )
    return part.outlet_height_mm - clear_mm


def trigger_litres(
    tank: Tank,
    *,
    share: float | None,
    sludge_clear_mm: float | None = None,
    scum_clear_mm: float | None = None,
    dip_pipe_mm: float = 400.0,
    scum_share: float,
) -> float:
    """Litres of sludge and scum together at which the first of the given limits is reached.

    A share counts the working volume. The sludge limit is clear space between sludge and
    outlet; the scum limit clear space between scum and the bottom of the outlet's dip pipe,
    which hangs ``dip_pipe_mm`` below the outlet (400 mm: common practice, no source), never
    below half the outlet's height. ``scum_share`` splits the solids into scum and sludge.
    Clearances look at the first compartment. Raises ValueError if no limit can be used.
    """
    limits: list[float] = []
    if share is not None:
        if not 0 < share <= 1:
            raise BadMeasure("share", f"trigger share must be between 0 and 1, not {share}")
        limits.append(share * tank.volume_litres)
    if tank.compartments:
        part, scale = tank.compartments[0], tank.litres_per_shape_litre
        height = part.outlet_height_mm
        if sludge_clear_mm is not None:
            depth = height - _within(sludge_clear_mm, height, "sludge_clear_mm")
            limits.append(float(part.shape.litres_below(depth)) * scale / (1.0 - scum_share))
        if scum_clear_mm is not None:
            pipe = min(dip_pipe_mm, height / 2)
            thickness = pipe - _within(scum_clear_mm, pipe, "scum_clear_mm")
            scum = part.working_volume_litres - float(part.shape.litres_below(height - thickness))
            limits.append(scum * scale / scum_share)
    if not limits:
        raise BadMeasure("trigger", "a trigger by clear space needs the tank's dimensions")
    return min(limits)


def _within(clear_mm: float, height_mm: float, name: str) -> float:
    if not 0 <= clear_mm < height_mm:
        raise BadMeasure(name, f"{name} of {clear_mm:g} mm leaves no room in {height_mm:g} mm")
    return clear_mm
