"""Roughly where a postcode is: the middle of its district, for a first pin on the map."""

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from .positions import Position

if TYPE_CHECKING:
    from .postcodes import Postcode

ATTRIBUTION = (
    "Contains National Statistics, OS and Royal Mail data © Crown copyright and database right; "
    "Open Government Licence v3.0."
)


@dataclass(frozen=True, slots=True)
class DistrictMiddle:
    """The mean of a district's postcodes, and the distance within which nine in ten of them lie."""

    position: Position
    within_km: float


def approximate_position(postcode: "Postcode") -> DistrictMiddle | None:
    """Return the middle of the postcode's district, or None where the table has none.

    The table covers Great Britain; Northern Ireland, the islands and Ireland are not in it.
    """
    return _districts().get(postcode.district)


@cache
def _districts() -> dict[str, DistrictMiddle]:
    table = files(__package__).joinpath("postcode_districts.csv")
    with table.open(encoding="utf-8") as lines:
        rows = csv.DictReader(line for line in lines if not line.startswith("#"))
        return {
            row["district"]: DistrictMiddle(
                Position(float(row["latitude"]), float(row["longitude"])), float(row["within_km"])
            )
            for row in rows
        }
