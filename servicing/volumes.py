"""Litres inside, the organisation's own units at the edge.

The imperial gallon is 4.54609 L and the US gallon 3.785411784 L, both exact by definition
(Weights and Measures Act 1985, Schedule 1; NIST Handbook 44, Appendix C).
"""

from __future__ import annotations

LITRES_PER_UNIT = {
    "litres": 1.0,
    "imperial_gallons": 4.54609,
    "us_gallons": 3.785411784,
}

UNIT_NAMES = {"litres": "litres", "imperial_gallons": "gallons", "us_gallons": "US gallons"}
UNIT_SIGNS = {"litres": "L", "imperial_gallons": "gal", "us_gallons": "US gal"}


def to_litres(amount: float, units: str) -> float:
    """Litres in `amount` of `units` (a key of LITRES_PER_UNIT)."""
    return amount * LITRES_PER_UNIT[units]


def from_litres(litres: float, units: str) -> float:
    """How many of `units` make `litres`."""
    return litres / LITRES_PER_UNIT[units]


def spoken(litres: float | None, units: str = "litres") -> str:
    """Volume for a reader, to the whole unit with thousands set apart; a dash when unknown."""
    if litres is None:
        return "–"
    return f"{from_litres(litres, units):,.0f} {UNIT_SIGNS[units]}"
