"""Where a row says its system is, with the position made from whatever it gives."""

from __future__ import annotations

import re
from math import asin, cos, radians, sin, sqrt

from customers.addresses import (
    BRITISH_GRID,
    BRITISH_ISLES,
    IRISH_GRID,
    IRISH_TRANSVERSE_MERCATOR,
    AddressError,
    Grid,
    Position,
    Postcode,
    approximate_position,
    looks_swapped,
    read_eastings_northings,
    read_grid_reference,
    read_latitude_longitude,
    read_position,
    read_postcode,
)

from .cells import CellRefusedError, as_text
from .reading import RowReader
from .rows import Defaults, Place

GRIDS = {
    "british": BRITISH_GRID,
    "irish": IRISH_GRID,
    "irish_transverse_mercator": IRISH_TRANSVERSE_MERCATOR,
}
LISTED, GRID, POSTCODE = "list", "grid", "postcode"  # as Premises.LocationSource
# Beyond this a position and a postcode cannot both be right: three times the radius of the
# district (nine in ten of its postcodes) and 20 km; common sense, no source.
RADII_ALLOWED, KILOMETRES_ALLOWED = 3.0, 20.0
EARTH_RADIUS_KM = 6371.0
# Two numbers of at most three figures before the point are degrees, not metres.
_IN_DEGREES = re.compile(r"^-?\d{1,3}\.\d+[°\s,;]+-?\d{1,3}\.\d+°?$")


def read_place(reader: RowReader, defaults: Defaults) -> Place:
    """Return the place of a row; refuse the row when it names none or contradicts itself."""
    postcode = _postcode(reader, defaults)
    position, source = _position(reader, defaults)
    if position is not None and postcode is not None:
        _check_nearness(reader, position, postcode)
    if position is None and postcode is not None:
        position, source = _roughly(reader, postcode)
    lines = [reader.text(name, most=300) for name in ("address", "address_2", "address_3")]
    place = Place(
        name=reader.text("premises_name", most=160),
        address="\n".join(line for line in lines if line),
        town=_town(reader),
        postcode=postcode.text if postcode else reader.text("postcode", most=12),
        latitude=round(position.latitude, 6) if position else None,
        longitude=round(position.longitude, 6) if position else None,
        location_source=source,
        access_note=reader.text("access_note", most=2000),
    )
    if not (place.name or place.address or place.postcode or position):
        reader.refuse(
            "", "no place is given: neither a name, an address, a postcode nor a position"
        )
    return place


def _town(reader: RowReader) -> str:
    town, county = reader.text("town", most=80), reader.text("county", most=80)
    return ", ".join(part for part in (town, county) if part)[:80]


def _postcode(reader: RowReader, defaults: Defaults) -> Postcode | None:
    if defaults.country not in {"GB", "IE"}:
        return None  # kept as written: other countries' codes are not known here
    return reader.read("postcode", lambda cell: read_postcode(as_text(cell)))


def _position(reader: RowReader, defaults: Defaults) -> tuple[Position | None, str]:
    for finder, source in (
        (_latitude_longitude, LISTED),
        (_together, LISTED),
        (_grid_reference, GRID),
        (_eastings_northings, GRID),
    ):
        if position := finder(reader, defaults):
            return position, source
    return None, ""


def _latitude_longitude(reader: RowReader, defaults: Defaults) -> Position | None:
    longitude = reader.text("longitude", most=40)
    latitude = reader.text("latitude", most=40)
    if bool(latitude) != bool(longitude):
        given, missing = ("latitude", "longitude") if latitude else ("longitude", "latitude")
        reader.refuse_field(given, f"stands alone: the {missing} is missing")
        return None
    position = reader.read("latitude", lambda cell: _exchangeable(as_text(cell), longitude))
    return _put_right(reader, position, defaults)


def _exchangeable(latitude: str, longitude: str) -> Position:
    """A latitude beyond 90 degrees can only be a longitude in the wrong column."""
    try:
        return read_latitude_longitude(latitude, longitude)
    except AddressError as error:
        try:
            return read_latitude_longitude(longitude, latitude)
        except AddressError:
            raise error from None


def _together(reader: RowReader, defaults: Defaults) -> Position | None:
    grid = GRIDS[defaults.grid]
    position = reader.read("position", lambda cell: read_either(as_text(cell), grid))
    return _put_right(reader, position, defaults)


def _put_right(reader: RowReader, position: Position | None, defaults: Defaults) -> Position | None:
    if position is None:
        return None
    if position.latitude == 0 and position.longitude == 0:
        reader.remark("position 0, 0 left out: it stands for nothing")
        return None
    if defaults.country in {"GB", "IE"} and looks_swapped(position, BRITISH_ISLES):
        reader.remark("latitude and longitude were exchanged and have been put right")
        return Position(position.longitude, position.latitude)
    return position


def _grid_reference(reader: RowReader, defaults: Defaults) -> Position | None:
    grid = GRIDS[defaults.grid]
    return reader.read("grid_reference", lambda cell: read_either(as_text(cell), grid))


def read_either(text: str, grid: Grid) -> Position:
    """Read a grid reference or a latitude with a longitude: columns of one hold the other too."""
    try:
        if _IN_DEGREES.match(text):
            return read_position(text)
        return read_grid_reference(text, unlettered=grid)
    except AddressError as error:
        try:
            return read_position(text)
        except AddressError:
            raise error from None


def _eastings_northings(reader: RowReader, defaults: Defaults) -> Position | None:
    northing = reader.text("northing", most=20)
    easting = reader.text("easting", most=20)
    if bool(easting) != bool(northing):
        field = "easting" if easting else "northing"
        reader.refuse_field(field, "stands alone: easting and northing go together")
        return None
    if not easting:
        return None

    def both(cell: object) -> Position:
        if cell is None:
            msg = "is missing"
            raise CellRefusedError(msg)
        return read_eastings_northings(easting, northing, grid=GRIDS[defaults.grid])

    return reader.read("easting", both)


def _check_nearness(reader: RowReader, position: Position, postcode: Postcode) -> None:
    middle = approximate_position(postcode)
    if middle is None:
        return
    away = kilometres_apart(position, middle.position)
    if away > RADII_ALLOWED * middle.within_km + KILOMETRES_ALLOWED:
        reader.refuse_field(
            "postcode",
            f"the position given lies {away:,.0f} km from the postcode district"
            f" {postcode.district}: one of the two is wrong",
        )


def _roughly(reader: RowReader, postcode: Postcode) -> tuple[Position | None, str]:
    middle = approximate_position(postcode)
    if middle is None:
        reader.remark("no position given, and none known for this postcode")
        return None, ""
    reader.remark(
        f"position approximate: centre of district {postcode.district}, within"
        f" {middle.within_km:g} km of nine in ten of its postcodes"
    )
    return middle.position, POSTCODE


def kilometres_apart(one: Position, other: Position) -> float:
    """Return the great-circle distance in km (haversine formula, sphere of 6,371 km)."""
    north = radians(other.latitude - one.latitude) / 2
    east = radians(other.longitude - one.longitude) / 2
    share = sin(north) ** 2 + (
        cos(radians(one.latitude)) * cos(radians(other.latitude)) * sin(east) ** 2
    )
    return 2 * EARTH_RADIUS_KM * asin(sqrt(share))
