"""How far and how long between places: the embedded estimate, and matrices from outside.

Every source goes through the same guard, so that a null, negative or absurd pair never
reaches the planner: such a pair takes the embedded estimate and a warning says so.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduler.routing.errors import BadMatrix

EARTH_RADIUS_M = 6_371_008.8  # mean radius R1 of the GRS 80 ellipsoid (Moritz 2000)
# Road factor and mean speed by straight-line distance. Our own assumption for rural legs,
# inside the range of published factors (1.2 to 1.4; Cooper 1982, Boscoe 2012); corrected
# for each operator by `calibrate`.
BAND_STARTS_M = np.array([0.0, 3_000.0, 5_000.0, 10_000.0, 20_000.0, 30_000.0])
ROAD_FACTORS = np.array([1.45, 1.45, 1.35, 1.35, 1.28, 1.28])
SPEEDS_KMH = np.array([28.0, 40.0, 40.0, 52.0, 52.0, 62.0])
ABSURD_SPEED_KMH = 200.0
SLOWEST_SPEED_KMH = 1.0
FEWEST_OBSERVATIONS = 8

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]


class Place(NamedTuple):
    """A named position in degrees (WGS 84)."""

    id: str
    latitude: float
    longitude: float


@dataclass(frozen=True, kw_only=True)
class TravelTable:
    """Metres and seconds from every place (row) to every place (column)."""

    ids: tuple[str, ...]
    metres: Integers
    seconds: Integers
    source: str
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a table that is not square, or holds what no road can."""
        size = len(self.ids)
        for field, matrix in (("metres", self.metres), ("seconds", self.seconds)):
            if matrix.shape != (size, size):
                message = f"The matrix of {field} is {matrix.shape}, not {size} by {size}."
                raise BadMatrix(message, field=field)
            if matrix.size and int(matrix.min()) < 0:
                message = f"The matrix of {field} holds a value below zero."
                raise BadMatrix(message, field=field)

    def index(self) -> dict[str, int]:
        """Row of each place id."""
        return {place_id: row for row, place_id in enumerate(self.ids)}


class TravelTimes(Protocol):
    """A source of travel distances and times."""

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        ...


def great_circle_metres(
    latitude: ArrayLike, longitude: ArrayLike, to_latitude: ArrayLike, to_longitude: ArrayLike
) -> Floats:
    """Great-circle distance in metres between points in degrees (arrays broadcast).

    Haversine formula on a sphere of the mean Earth radius: within 0.56 % of the ellipsoid.
    """
    lat, lon, to_lat, to_lon = (
        np.radians(np.asarray(angle, dtype=np.float64))
        for angle in (latitude, longitude, to_latitude, to_longitude)
    )
    half = (
        np.sin((to_lat - lat) / 2) ** 2
        + np.cos(lat) * np.cos(to_lat) * np.sin((to_lon - lon) / 2) ** 2
    )
    distance: Floats = 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
    return distance


def road_metres(straight_metres: Floats) -> Floats:
    """Road distance for a straight-line distance: the factors run smoothly over the bands.

    The factor falls with distance, so it is interpolated: a step would let a longer line
    make a shorter road, and the triangle inequality would break at the band's edge.
    """
    factor = np.interp(straight_metres, BAND_STARTS_M, ROAD_FACTORS)
    road: Floats = straight_metres * factor
    return road


def road_seconds(straight_metres: Floats, calibration: Sequence[float] = ()) -> Floats:
    """Driving time for a straight-line distance, times the calibration of its band."""
    speed = np.interp(straight_metres, BAND_STARTS_M, SPEEDS_KMH) / 3.6
    seconds: Floats = road_metres(straight_metres) / speed
    if len(calibration):
        seconds = seconds * np.interp(straight_metres, BAND_STARTS_M, np.asarray(calibration))
    return seconds


@dataclass(frozen=True, kw_only=True)
class StraightLine:
    """The embedded estimate: great circle × road factor × speed band × calibration."""

    calibration: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """One factor a band, each plausible, or none at all."""
        right_length = len(self.calibration) in {0, len(BAND_STARTS_M)}
        if not right_length or not all(0.2 <= factor <= 5 for factor in self.calibration):
            message = f"Calibration needs {len(BAND_STARTS_M)} factors between 0.2 and 5."
            raise BadMatrix(message, field="calibration")

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        latitudes = np.array([place.latitude for place in places], dtype=np.float64)
        longitudes = np.array([place.longitude for place in places], dtype=np.float64)
        straight = great_circle_metres(
            latitudes[:, None], longitudes[:, None], latitudes[None, :], longitudes[None, :]
        )
        return TravelTable(
            ids=tuple(place.id for place in places),
            metres=np.rint(road_metres(straight)).astype(np.int64),
            seconds=np.ceil(road_seconds(straight, self.calibration)).astype(np.int64),
            source="straight line",
        )


def calibrate(
    legs: Iterable[tuple[float, float]], seconds_driven: Iterable[float]
) -> tuple[float, ...]:
    """Factor per distance band from recorded drives.

    Args:
        legs: (straight-line metres, estimated seconds without calibration) of each drive.
        seconds_driven: what each drive really took.

    Returns:
        The median ratio of each band, drawn towards 1 while a band has few drives
        (n / (n + 8)), and 1 for a band without any. Medians, so that one puncture or one
        forgotten click changes nothing.
    """
    ratios: list[list[float]] = [[] for _ in BAND_STARTS_M]
    for (straight, estimated), driven in zip(legs, seconds_driven, strict=True):
        if estimated > 0 and driven > 0 and math.isfinite(driven / estimated):
            nearest = int(np.argmin(np.abs(BAND_STARTS_M - straight)))
            ratios[nearest].append(driven / estimated)
    factors = []
    for band in ratios:
        weight = len(band) / (len(band) + FEWEST_OBSERVATIONS)
        factor = 1 + weight * (float(np.median(band)) - 1) if band else 1.0
        factors.append(min(max(factor, 0.2), 5.0))
    return tuple(factors)


def guarded_table(
    places: Sequence[Place], metres: ArrayLike, seconds: ArrayLike, source: str
) -> TravelTable:
    """A table from outside with every null or absurd pair replaced by the embedded estimate.

    A pair is replaced when either value is missing or negative, when it is faster than
    200 km/h on the straight line, or slower than 1 km/h on the road given.
    """
    size = len(places)
    given = [np.array(matrix, dtype=np.float64) for matrix in (metres, seconds)]
    for field, matrix in zip(("metres", "seconds"), given, strict=True):
        if matrix.shape != (size, size):
            message = f"The matrix of {field} is {matrix.shape}, not {size} by {size}."
            raise BadMatrix(message, field=field)
    estimate = StraightLine().table(places)
    straight = estimate.metres / float(ROAD_FACTORS.max())
    with np.errstate(invalid="ignore"):
        wrong = ~np.isfinite(given[0]) | ~np.isfinite(given[1]) | (given[0] < 0) | (given[1] < 0)
        wrong |= given[1] * ABSURD_SPEED_KMH / 3.6 + 60 < straight
        wrong |= given[1] > given[0] * 3.6 / SLOWEST_SPEED_KMH + 3600
    np.fill_diagonal(wrong, val=False)
    for matrix in given:
        np.fill_diagonal(matrix, 0.0)
    return TravelTable(
        ids=tuple(place.id for place in places),
        metres=np.where(wrong, estimate.metres, np.nan_to_num(given[0])).round().astype(np.int64),
        seconds=np.ceil(np.where(wrong, estimate.seconds, np.nan_to_num(given[1]))).astype(
            np.int64
        ),
        source=source,
        warnings=_warn_of(wrong, places, source),
    )


def _warn_of(wrong: NDArray[np.bool_], places: Sequence[Place], source: str) -> tuple[str, ...]:
    count = int(wrong.sum())
    if not count:
        return ()
    start, end = (int(number) for number in np.argwhere(wrong)[0])
    return (
        f"{count} of {len(places) * (len(places) - 1)} travel times from {source} were missing "
        f"or absurd and were estimated (first: {places[start].id} to {places[end].id}).",
    )


@dataclass(frozen=True, kw_only=True)
class GivenMatrix:
    """A matrix the user supplies, by place id; a missing value is None or NaN."""

    ids: tuple[str, ...]
    metres: ArrayLike
    seconds: ArrayLike

    def table(self, places: Sequence[Place]) -> TravelTable:
        """The rows and columns of the places asked for."""
        row = {place_id: number for number, place_id in enumerate(self.ids)}
        if len(row) < len(self.ids):
            twice = next(each for each in self.ids if self.ids.count(each) > 1)
            message = f"The travel matrix names “{twice}” twice."
            raise BadMatrix(message, item=twice, field="ids")
        for place in places:
            if place.id not in row:
                message = f"The travel matrix has no row for “{place.id}”."
                raise BadMatrix(message, item=place.id, field="ids")
        wanted = np.array([row[place.id] for place in places], dtype=np.int64)
        chosen = []
        for field, matrix in (("metres", self.metres), ("seconds", self.seconds)):
            full = _square(matrix, field, len(self.ids))
            chosen.append(full[np.ix_(wanted, wanted)])
        return guarded_table(places, chosen[0], chosen[1], "the given matrix")


def _square(matrix: ArrayLike, field: str, size: int) -> Floats:
    try:
        full = np.array(matrix, dtype=np.float64)
    except (TypeError, ValueError) as error:
        message = f"The matrix of {field} is not a square of numbers."
        raise BadMatrix(message, field=field) from error
    if full.shape != (size, size):
        message = f"The matrix of {field} is {full.shape}, not {size} by {size}."
        raise BadMatrix(message, field=field)
    return full
