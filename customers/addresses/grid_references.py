"""Grid references as people write them: "TG 51409 13177", "651409 313177", "H 12345 67890"."""

import re

from .grids import BRITISH_GRID, IRISH_GRID, Grid, to_wgs84
from .positions import AddressError, Position

SQUARE = 100_000
_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # the alphabet of both grids leaves out I
_LETTERED = re.compile(r"^([A-Z]{1,2})([\d\s]*)$")
_NUMBERS = re.compile(r"^(\d+(?:\.\d+)?)\s*(?:[,;/]\s*|\s+)(\d+(?:\.\d+)?)$")


def read_grid_reference(text: str, *, unlettered: Grid = BRITISH_GRID) -> Position:
    """Return the WGS84 middle of the square a grid reference names.

    Two letters are read on the British grid, one letter on the Irish, bare eastings and northings
    in metres on the `unlettered` one. Raises AddressError for anything else.
    """
    cleaned = text.strip().upper()
    if match := _NUMBERS.match(cleaned):
        return read_eastings_northings(match[1], match[2], grid=unlettered)
    match = _LETTERED.match(re.sub(r"[,;:/-]", " ", cleaned))
    if match is None:
        msg = f"“{text.strip()}” is not a grid reference such as TG 51409 13177"
        raise AddressError(msg)
    letters, digits = match[1], match[2]
    east, north, size = _within_square(digits, text)
    if len(letters) == 2:
        square_east, square_north, grid = *_british_square(letters), BRITISH_GRID
    else:
        square_east, square_north, grid = *_irish_square(letters), IRISH_GRID
    return to_wgs84(grid, square_east + east + size / 2, square_north + north + size / 2)


def read_eastings_northings(easting: str, northing: str, *, grid: Grid = BRITISH_GRID) -> Position:
    """Return the WGS84 position of full eastings and northings in metres on the grid."""
    try:
        east, north = float(easting.replace(" ", "")), float(northing.replace(" ", ""))
    except ValueError:
        msg = f"“{easting}”, “{northing}” are not metres east and north"
        raise AddressError(msg) from None
    if not (0 <= east <= grid.max_easting and 0 <= north <= grid.max_northing):
        msg = f"{east:g}, {north:g} lies outside the {grid.name}"
        raise AddressError(msg)
    return to_wgs84(grid, east, north)


def _within_square(digits: str, text: str) -> tuple[float, float, float]:
    """Return metres east and north within the 100 km square, and the size of the square named."""
    groups = digits.split()
    if len(groups) == 2 and len(groups[0]) != len(groups[1]):
        msg = f"“{text.strip()}” has more figures on one side than on the other"
        raise AddressError(msg)
    figures = "".join(groups)
    if len(figures) % 2 or not 2 <= len(figures) <= 10:
        msg = f"“{text.strip()}” needs an even count of figures, from 2 to 10"
        raise AddressError(msg)
    half = len(figures) // 2
    size = SQUARE / 10**half
    return int(figures[:half]) * size, int(figures[half:]) * size, size


def _british_square(letters: str) -> tuple[int, int]:
    """Return the south-west corner, in metres, of a lettered 100 km square.

    500 km squares count from V, two squares west and one south of the false origin
    (Ordnance Survey guide, §7.1).
    """
    if "I" in letters:
        msg = f"the British grid has no square {letters}"
        raise AddressError(msg)
    big, small = (_LETTERS.index(letter) for letter in letters)
    east = (big % 5 - 2) * 5 + small % 5
    north = (3 - big // 5) * 5 + 4 - small // 5
    if not (0 <= east <= 6 and 0 <= north <= 12):
        msg = f"the British grid has no square {letters}"
        raise AddressError(msg)
    return east * SQUARE, north * SQUARE


def _irish_square(letter: str) -> tuple[int, int]:
    if letter == "I":
        msg = "the Irish grid has no square I"
        raise AddressError(msg)
    place = _LETTERS.index(letter)
    return place % 5 * SQUARE, (4 - place // 5) * SQUARE
