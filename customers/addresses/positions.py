"""Points on the ground as WGS84 latitude and longitude, read from the ways people write them."""

import re
from dataclasses import dataclass

# Written in degrees, everything the two countries we know the grids of can hold, with a margin.
BRITISH_ISLES = (49.0, 61.5, -11.0, 2.5)

_NUMBER = r"\d+(?:[.,]\d+)?"
_ANGLE = re.compile(
    rf"""^\s*(?P<before>[NSEW])?\s*(?P<sign>[-+])?\s*
    (?P<degrees>{_NUMBER})\s*(?:°|º|deg|d|\s)?\s*
    (?:(?P<minutes>{_NUMBER})\s*(?:'|\u2032|\u2019|m|min|\s)?\s*)?
    (?:(?P<seconds>{_NUMBER})\s*(?:"|\u2033|\u201d|''|s|sec)?\s*)?
    (?P<after>[NSEW])?\s*$""",
    re.IGNORECASE | re.VERBOSE,
)
_LETTERED_PAIR = re.compile(r"^(.*?[NS])[\s,;]*(.*[EW])$", re.IGNORECASE)
_LEADING_PAIR = re.compile(r"^([NS].*?)[\s,;]*([EW].*)$", re.IGNORECASE)


class AddressError(ValueError):
    """What was written cannot be read as a place; the message says why in plain words."""


@dataclass(frozen=True, slots=True)
class Position:
    """A point: latitude and longitude in degrees, WGS84, north and east positive."""

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        """Refuse what is not on the Earth."""
        if not -90 <= self.latitude <= 90:
            msg = f"latitude {self.latitude:g} is not between -90 and 90"
            raise AddressError(msg)
        if not -180 <= self.longitude <= 180:
            msg = f"longitude {self.longitude:g} is not between -180 and 180"
            raise AddressError(msg)


def read_angle(text: str) -> tuple[float, str]:
    """Return degrees and the compass letter ("" when none) from decimal or sexagesimal text."""
    match = _ANGLE.match(text)
    if match is None:
        msg = f"“{text.strip()}” is not an angle such as 52.6580 or 52°39'29\"N"
        raise AddressError(msg)
    degrees, minutes, seconds = (
        _decimal(match[name]) for name in ("degrees", "minutes", "seconds")
    )
    if minutes >= 60 or seconds >= 60:
        msg = f"“{text.strip()}” has 60 or more minutes or seconds"
        raise AddressError(msg)
    letter = (match["before"] or match["after"] or "").upper()
    angle = degrees + minutes / 60 + seconds / 3600
    return (-angle if match["sign"] == "-" or letter in {"S", "W"} else angle), letter


def read_latitude_longitude(latitude: str, longitude: str) -> Position:
    """Read the two halves of a position; halves whose compass letters are swapped are put right."""
    north, north_letter = read_angle(latitude)
    east, east_letter = read_angle(longitude)
    if north_letter in {"E", "W"} or east_letter in {"N", "S"}:
        north, east = east, north
    return Position(north, east)


def read_position(text: str) -> Position:
    """Read "52.658, 1.716", "52°39'29"N 1°42'58"E", "N52.658 E1.716" and the like."""
    cleaned = text.strip().strip("()[]")
    for pattern in (_LEADING_PAIR, _LETTERED_PAIR):
        if match := pattern.match(cleaned):
            return read_latitude_longitude(match[1].rstrip(" ,;"), match[2])
    for separator in (";", ", ", ",", None):
        halves = [half for half in cleaned.split(separator) if half.strip()]
        if len(halves) == 2:
            return read_latitude_longitude(*halves)
    msg = f"“{text.strip()}” is not a latitude and a longitude"
    raise AddressError(msg)


def looks_swapped(position: Position, bounds: tuple[float, float, float, float]) -> bool:
    """Whether latitude and longitude only fall within the bounds when exchanged.

    Bounds are south, north, west, east in degrees, for example BRITISH_ISLES.
    """
    exchanged_fits = _within(position.longitude, position.latitude, bounds)
    return exchanged_fits and not _within(position.latitude, position.longitude, bounds)


def _within(latitude: float, longitude: float, bounds: tuple[float, float, float, float]) -> bool:
    south, north, west, east = bounds
    return south <= latitude <= north and west <= longitude <= east


def _decimal(text: str | None) -> float:
    return float(text.replace(",", ".")) if text else 0.0
