"""Depth and litres, both ways, for the shapes of buried tanks.

Millimetres from the floor, litres, numpy arrays or floats. Everything works by the WORKING
volume (below the outlet), never the shell. Exact geometry: circular segment and spherical cap.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from servicing.forecasting.faults import BadMeasure

Floats = npt.NDArray[np.float64]
MM3_PER_LITRE = 1e6


def segment_share(height_over_diameter: npt.ArrayLike) -> Floats:
    """Share of a lying cylinder (or ellipse) filled to x = h/D: [acos c - c sqrt(1 - c^2)]/pi.

    c = 1 - 2x. Any shape; x outside 0..1 is refused.
    """
    x = _share_of(height_over_diameter, "height over diameter")
    c = 1.0 - 2.0 * x
    return np.asarray((np.arccos(c) - c * np.sqrt(np.maximum(0.0, 1.0 - c * c))) / math.pi)


def sphere_share(height_over_diameter: npt.ArrayLike) -> Floats:
    """Share of a sphere filled to x = h/D: x^2 (3 - 2x)."""
    x = _share_of(height_over_diameter, "height over diameter")
    return np.asarray(x * x * (3.0 - 2.0 * x))


def segment_height(share: npt.ArrayLike) -> Floats:
    """Inverse of :func:`segment_share`, to 1e-12, by safeguarded Newton steps on the angle."""
    target = _share_of(share, "share") * math.pi
    low, high = np.zeros_like(target), np.full_like(target, math.pi)
    angle = np.full_like(target, math.pi / 2)
    for _ in range(60):
        error = angle - np.sin(angle) * np.cos(angle) - target
        low, high = np.where(error < 0, angle, low), np.where(error >= 0, angle, high)
        slope = 2.0 * np.sin(angle) ** 2
        step = np.where(slope > 1e-12, angle - error / np.maximum(slope, 1e-12), -1.0)
        angle = np.where((step > low) & (step < high), step, (low + high) / 2)
    return np.asarray((1.0 - np.cos(angle)) / 2)


def sphere_height(share: npt.ArrayLike) -> Floats:
    """Inverse of :func:`sphere_share`: x = 1/2 - sin(asin(1 - 2 share)/3), exact."""
    return np.asarray(0.5 - np.sin(np.arcsin(1.0 - 2.0 * _share_of(share, "share")) / 3.0))


def _share_of(values: npt.ArrayLike, name: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    if not np.all((array >= -1e-12) & (array <= 1 + 1e-12)):
        raise ValueError(f"{name} must lie between 0 and 1")
    return np.clip(array, 0.0, 1.0)


def require_lengths(**lengths: float) -> None:
    """Refuse a dimension that is not a positive number of millimetres below 30 m."""
    for name, value in lengths.items():
        if not math.isfinite(value) or not 0 < value <= 30_000:
            raise BadMeasure(name, f"{name} must be between 0 and 30 000 mm, not {value}")


class Shape(Protocol):
    """A vessel: how high it is inside, and litres against depth."""

    @property
    def full_height_mm(self) -> float:
        """Inside height, mm."""

    def litres_below(self, depth_mm: npt.ArrayLike) -> Floats:
        """Litres between the floor and a depth in mm."""

    def depth_of(self, litres: npt.ArrayLike) -> Floats:
        """Depth in mm that so many litres reach."""


@dataclass(frozen=True, slots=True)
class HorizontalCylinder:
    """A lying drum with flat ends."""

    diameter_mm: float
    length_mm: float

    def __post_init__(self) -> None:
        require_lengths(diameter_mm=self.diameter_mm, length_mm=self.length_mm)

    @property
    def full_height_mm(self) -> float:
        return self.diameter_mm

    @property
    def _full_litres(self) -> float:
        return math.pi / 4 * self.diameter_mm**2 * self.length_mm / MM3_PER_LITRE

    def litres_below(self, depth_mm: npt.ArrayLike) -> Floats:
        share = segment_share(np.asarray(depth_mm, float) / self.diameter_mm)
        return np.asarray(share * self._full_litres)

    def depth_of(self, litres: npt.ArrayLike) -> Floats:
        share = np.asarray(litres, float) / self._full_litres
        return np.asarray(segment_height(share) * self.diameter_mm)


@dataclass(frozen=True, slots=True)
class HorizontalEllipse:
    """A lying drum of elliptical section: height and width of the ellipse, and length."""

    height_mm: float
    width_mm: float
    length_mm: float

    def __post_init__(self) -> None:
        require_lengths(height_mm=self.height_mm, width_mm=self.width_mm, length_mm=self.length_mm)

    @property
    def full_height_mm(self) -> float:
        return self.height_mm

    @property
    def _full_litres(self) -> float:
        return math.pi / 4 * self.height_mm * self.width_mm * self.length_mm / MM3_PER_LITRE

    def litres_below(self, depth_mm: npt.ArrayLike) -> Floats:
        share = segment_share(np.asarray(depth_mm, float) / self.height_mm)
        return np.asarray(share * self._full_litres)

    def depth_of(self, litres: npt.ArrayLike) -> Floats:
        share = np.asarray(litres, float) / self._full_litres
        return np.asarray(segment_height(share) * self.height_mm)


@dataclass(frozen=True, slots=True)
class Sphere:
    """A ball-shaped tank."""

    diameter_mm: float

    def __post_init__(self) -> None:
        require_lengths(diameter_mm=self.diameter_mm)

    @property
    def full_height_mm(self) -> float:
        return self.diameter_mm

    @property
    def _full_litres(self) -> float:
        return math.pi / 6 * self.diameter_mm**3 / MM3_PER_LITRE

    def litres_below(self, depth_mm: npt.ArrayLike) -> Floats:
        share = sphere_share(np.asarray(depth_mm, float) / self.diameter_mm)
        return np.asarray(share * self._full_litres)

    def depth_of(self, litres: npt.ArrayLike) -> Floats:
        share = np.asarray(litres, float) / self._full_litres
        return np.asarray(sphere_height(share) * self.diameter_mm)


@dataclass(frozen=True, slots=True)
class StrappingTable:
    """A measured table of (depth mm, litres), straight lines between; must start at 0, 0."""

    rows: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        depths, litres = self._columns()
        if len(self.rows) < 2 or depths[0] != 0 or litres[0] != 0:
            raise BadMeasure(
                "rows", "a strapping table needs two rows or more and must start at 0 mm, 0 L"
            )
        if not (np.all(np.diff(depths) > 0) and np.all(np.diff(litres) > 0)):
            raise BadMeasure(
                "rows", "depths and litres of a strapping table must rise from row to row"
            )

    def _columns(self) -> tuple[Floats, Floats]:
        table = np.asarray(self.rows, dtype=np.float64).reshape(-1, 2)
        return table[:, 0], table[:, 1]

    @property
    def full_height_mm(self) -> float:
        return float(self.rows[-1][0])

    def litres_below(self, depth_mm: npt.ArrayLike) -> Floats:
        depths, litres = self._columns()
        _share_of(np.asarray(depth_mm, float) / depths[-1], "depth over height")
        return np.asarray(np.interp(np.asarray(depth_mm, float), depths, litres))

    def depth_of(self, litres: npt.ArrayLike) -> Floats:
        depths, column = self._columns()
        _share_of(np.asarray(litres, float) / column[-1], "share")
        return np.asarray(np.interp(np.asarray(litres, float), column, depths))


def prismatic_stack(parts: tuple[tuple[float, float], ...]) -> StrappingTable:
    """Prisms standing on each other, as (height mm, floor area m2), lowest first."""
    table, depth, litres = [(0.0, 0.0)], 0.0, 0.0
    for height_mm, area_m2 in parts:
        require_lengths(height_mm=height_mm)
        if not math.isfinite(area_m2) or area_m2 <= 0:
            raise BadMeasure("area_m2", f"area_m2 must be more than 0, not {area_m2}")
        depth, litres = depth + height_mm, litres + height_mm * area_m2
        table.append((depth, litres))
    return StrappingTable(tuple(table))


def rectangular(length_mm: float, width_mm: float, height_mm: float) -> StrappingTable:
    """A box."""
    require_lengths(length_mm=length_mm, width_mm=width_mm)
    return prismatic_stack(((height_mm, length_mm * width_mm / 1e6),))


def upright_cylinder(diameter_mm: float, height_mm: float) -> StrappingTable:
    """A standing round tank."""
    require_lengths(diameter_mm=diameter_mm)
    return prismatic_stack(((height_mm, math.pi / 4 * diameter_mm**2 / 1e6),))
