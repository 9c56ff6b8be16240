"""How many use a system, and how to reach its owner."""

from __future__ import annotations

import re
from dataclasses import dataclass

import phonenumbers

from .cells import CellRefusedError, as_text
from .volumes import read_number

MOST_PERSONS = 5_000
MOST_BEDROOMS = 200
_EMAIL = re.compile(r"^[^@\s,;<>()]+@[^@\s,;<>()]+\.[^@\s.,;<>()]{2,}$")
_RANGE = re.compile(r"^(\d+)\s*(?:-|–|to|/|or)\s*(\d+)$")
_BEDROOMS = re.compile(r"^(\d+)\s*(?:x\s*)?-?\s*bed(?:room)?s?\b\.?$")
_COUNTED = re.compile(
    r"(\d+)\s*(?:adults?|people|persons?|child(?:ren)?|kids?|occupants?|pax|ppl|p)?"
)


@dataclass(frozen=True, slots=True)
class Household:
    """Persons or bedrooms as a cell of persons gives them, and what was taken on trust."""

    persons: float | None = None
    bedrooms: int | None = None
    remark: str = ""


def read_persons(cell: object) -> Household:
    """Read "4", "2 adults, 3 children", "4-5" (the middle is taken) or "3 bed" (bedrooms)."""
    text = as_text(cell).lower()
    if match := _BEDROOMS.match(text):
        return Household(bedrooms=int(match[1]), remark=f"“{text}” taken as bedrooms, not persons")
    if match := _RANGE.match(text):
        low, high = int(match[1]), int(match[2])
        middle = _believed((low + high) / 2)
        return Household(persons=middle, remark=f"“{text}” persons taken as {middle:g}")
    parts = [part for part in re.split(r"\s*(?:\+|&|,|;|\band\b)\s*", text) if part]
    counts = [_COUNTED.fullmatch(part.strip()) for part in parts]
    if len(parts) > 1 and all(counts):
        return Household(persons=_believed(sum(int(count[1]) for count in counts if count)))
    number = read_number(re.sub(r"\s*(?:people|persons?|occupants?|adults?|pax|ppl)\.?$", "", text))
    return Household(persons=_believed(number))


def read_whole(cell: object, *, least: int, most: int, what: str) -> int:
    """Return a whole number between `least` and `most`; `what` names it in the refusal."""
    text = re.sub(r"\s*(?:bed(?:room)?s?|months?|weeks?|pe|no\.?)$", "", as_text(cell).lower())
    number = read_number(text)
    if not number.is_integer() or not least <= number <= most:
        msg = f"{as_text(cell)} {what} are not believed: a whole number from {least} to {most}"
        raise CellRefusedError(msg)
    return int(number)


def read_email(cell: object) -> tuple[str, str]:
    """Return the first e-mail address of a cell, and a remark when there were several."""
    text = as_text(cell).removeprefix("mailto:")
    addresses = [part for part in re.split(r"[;,\s/]+", text) if part]
    wrong = [address for address in addresses if not _EMAIL.match(address)]
    if wrong or not addresses:
        msg = f"“{text}” is not an e-mail address"
        raise CellRefusedError(msg)
    remark = f"kept {addresses[0]} of several e-mail addresses" if len(addresses) > 1 else ""
    return addresses[0], remark


def read_phone(cell: object, *, country: str) -> tuple[str, str]:
    """Return a telephone number in international form, or as written with a remark."""
    text = as_text(cell)
    if len(text) > 40 or sum(character.isdigit() for character in text) < 5:
        msg = f"“{text}” is not a telephone number"
        raise CellRefusedError(msg)
    try:
        number = phonenumbers.parse(text, country)
    except phonenumbers.NumberParseException:
        return text, "telephone number kept as written"
    if not phonenumbers.is_possible_number(number):
        return text, "telephone number kept as written"
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.INTERNATIONAL), ""


def _believed(persons: float) -> float:
    if not 0 <= persons <= MOST_PERSONS:
        msg = f"{persons:g} persons are not believed: from 0 to {MOST_PERSONS:,}"
        raise CellRefusedError(msg)
    return persons
