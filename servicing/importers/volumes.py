"""Volumes as lists of tanks give them: litres, gallons of two kinds, cubic metres."""

from __future__ import annotations

import re

from servicing.volumes import LITRES_PER_UNIT

from .cells import CellRefusedError, as_text

LITRES_A_UNIT: dict[str, float] = {**LITRES_PER_UNIT, "cubic_metres": 1000.0}
UNIT_LABELS: dict[str, str] = {
    "litres": "litres",
    "imperial_gallons": "imperial gallons",
    "us_gallons": "US gallons",
    "cubic_metres": "cubic metres",
    "gallons": "gallons",
}
# What the register holds (Tank.working_volume_litres); a tank that takes a household's sewage is
# larger: 300 L is two days of one person's flow (150 L a person a day, British Water's figure).
SMALLEST_LITRES, LARGEST_LITRES, SMALLEST_TANK_LITRES = 50, 500_000, 300

_UNIT_WORDS: tuple[tuple[str, str], ...] = (
    ("imperial_gallons", r"imp(?:erial)?\.?\s*gal(?:lon)?s?|uk\s*gal(?:lon)?s?|ig|igal"),
    ("us_gallons", r"u\.?\s?s\.?\s*gal(?:lon)?s?|usg"),
    ("gallons", r"gal(?:lon)?s?|glns?"),
    ("cubic_metres", r"m\s?[3³]|cu\.?\s*m(?:et(?:re|er)s?)?|cubic\s+met(?:re|er)s?|cbm|cum"),
    ("litres", r"l|lt|ltrs?|lit(?:re|er)s?|lts"),
)
_UNITS = re.compile(
    r"(?<![a-z])(?:"
    + "|".join(f"(?P<{name}>{words})" for name, words in _UNIT_WORDS)
    + r")(?![a-z])",
    re.IGNORECASE,
)
_ABOUT = re.compile(
    r"^(?:approx(?:imately)?|about|circa|ca|c|est(?:imated)?)\b\.?\s*|^[~±]\s*", re.IGNORECASE
)
_NUMBER = re.compile(r"^\d{1,3}(?:[ ,\u00a0]\d{3})+(?:\.\d+)?$|^\d+(?:[.,]\d+)?$|^\.\d+$")


def unit_in_words(text: str) -> tuple[str, str]:
    """Return the unit of volume a text names ("" when none) and the text without it."""
    match = _UNITS.search(text)
    if match is None or match.lastgroup is None:
        return "", text
    return match.lastgroup, text[: match.start()] + " " + text[match.end() :]


def read_number(text: str) -> float:
    """Read "2,800", "2 800", "2.8" or "2,8"; three figures after a comma make a thousand."""
    cleaned = text.strip()
    negative = cleaned.startswith(("-", "−"))
    cleaned = cleaned.lstrip("-−+").strip()
    if not _NUMBER.match(cleaned):
        msg = f"“{text.strip()}” is not a number"
        raise CellRefusedError(msg)
    if re.fullmatch(r"\d{1,3}(?:[ ,\u00a0]\d{3})+(?:\.\d+)?", cleaned):
        cleaned = re.sub(r"[ ,\u00a0]", "", cleaned)
    number = float(cleaned.replace(",", "."))
    return -number if negative else number


def read_volume(cell: object, *, unit: str, gallon: str) -> float:
    """Return litres from a cell; its own unit goes before that of the column.

    `unit` is the column's, `gallon` says which gallon is meant where only "gallons" is written
    ("" = not known). Raises CellRefusedError for no number, an unknown unit or an unlikely size.
    """
    text = _ABOUT.sub("", as_text(cell))
    own_unit, rest = unit_in_words(text)
    number = re.sub(r"[()]", " ", rest).strip().rstrip(".")
    if words := re.search(r"[^\W\d_]+.*$", number):
        if re.search(r"\d", number[: words.start()]):
            msg = f"“{words[0].strip()}” is not a unit of volume: use litres, gallons or m³"
            raise CellRefusedError(msg)
        msg = f"“{text}” is not a volume"
        raise CellRefusedError(msg)
    litres = read_number(number) * LITRES_A_UNIT[_known_unit(own_unit or unit, gallon)]
    _check_size(text, litres)
    return round(litres, 1)


def _known_unit(unit: str, gallon: str) -> str:
    if unit != "gallons":
        return unit
    if not gallon:
        msg = "imperial or US gallons? Say which in the heading or choose it for the file"
        raise CellRefusedError(msg)
    return gallon


def _check_size(text: str, litres: float) -> None:
    if litres <= 0:
        msg = f"a volume of {text} is impossible"
        raise CellRefusedError(msg)
    if not SMALLEST_LITRES <= litres <= LARGEST_LITRES:
        msg = (
            f"{text} makes {litres:,.0f} litres: between {SMALLEST_LITRES} and"
            f" {LARGEST_LITRES:,} are believed. Is the unit right?"
        )
        raise CellRefusedError(msg)
