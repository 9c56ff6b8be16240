"""United Kingdom postcodes and Irish Eircodes: put in their usual form, or refused with a reason.

Patterns: the six outward forms and barred letters as published with the Office for National
Statistics' postcode products (checked against all 2.7 million rows of its directory, see the
tests); Eircode letters: Eircode address database product guide.
"""

import re
from dataclasses import dataclass
from typing import Literal

from .positions import AddressError

Country = Literal["GB", "IE"]

_OUTWARD = re.compile(
    r"^(?:[A-PR-UWYZ]\d[\dABCDEFGHJKPSTUW]?|[A-PR-UWYZ][A-HK-Y]\d[\dABEHMNPRVWXY]?)$"
)
_INWARD = re.compile(r"^\d[ABD-HJLNP-UW-Z]{2}$")
_EIRCODE = re.compile(r"^([AC-FHKNPRTV-Y]\d{2}|D6W)([\dAC-FHKNPRTV-Y]{4})$")
_MISREAD_DIGITS = str.maketrans("OIL", "011")


@dataclass(frozen=True, slots=True)
class Postcode:
    """A code in its usual form, its country, and the first part that names a district."""

    text: str
    country: Country
    district: str


def read_postcode(text: str) -> Postcode:
    """Return the postcode or Eircode in its usual form; raise AddressError with the reason.

    A letter O, I or L where only a figure can stand is taken for 0 or 1.
    """
    packed = re.sub(r"[^A-Z0-9]", "", text.upper())
    if match := _EIRCODE.match(packed):
        return Postcode(f"{match[1]} {match[2]}", "IE", match[1])
    outward, inward = packed[:-3], packed[-3:]
    inward = inward[:1].translate(_MISREAD_DIGITS) + inward[1:]
    if packed == "GIR0AA" or (_OUTWARD.match(outward) and _INWARD.match(inward)):
        return Postcode(f"{outward} {inward}", "GB", outward)
    if _OUTWARD.match(packed):
        msg = f"“{text.strip()}” is only the first half of a postcode"
        raise AddressError(msg)
    msg = f"“{text.strip()}” is not a postcode such as AB12 3DE or an Eircode"
    raise AddressError(msg)
