"""Inspection chambers and effluent filters: what looks have found, and what is known of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Cause(StrEnum):
    """What was found lying in a chamber or filter."""

    WIPES = "wipes"
    FAT = "fat"
    SANITARY = "sanitary items"
    SILT = "silt"
    ROOTS = "roots"
    RUBBLE = "rubble"
    SCALE = "scale"
    OTHER = "other"


# Grades of a look (our own scale, no source): 0 clear, 1 some debris, 2 flow held back, 3 blocked.
CLEAR, SOME_DEBRIS, HELD_BACK, BLOCKED = 0, 1, 2, 3

# What the owner can do about it, in plain words.
ADVICE = {
    Cause.WIPES: "Wipes do not fall apart in the drain, whatever the packet says: bin them.",
    Cause.FAT: "Fat sets hard in a cold drain: let it cool, scrape it up and bin it.",
    Cause.SANITARY: "Sanitary items belong in a bin, never in the toilet.",
    Cause.SILT: "Soil or grit is being washed in: a cracked pipe or surface water may be joined on.",
    Cause.ROOTS: "Roots have found a joint: the pipe needs a camera and perhaps a repair.",
    Cause.RUBBLE: "Stones or broken pipe lie in the drain: it should be looked at with a camera.",
    Cause.SCALE: "Hard scale narrows the pipe: it can be cleaned by jetting.",
    Cause.OTHER: "Something that does not belong in a drain was found: ask the crew what it was.",
}


@dataclass(frozen=True, slots=True)
class Look:
    """One look into a chamber: its grade 0-3 and the main cause. It is left clear afterwards."""

    on: date
    grade: int
    cause: Cause | None = None


@dataclass(frozen=True, slots=True)
class ChamberFacts:
    """What is known of one chamber or filter; ``max_months`` is the longest interval agreed.

    ``accepted_risk`` is the chance of trouble that sets the next look. With ``trouble_price`` -
    what a year with trouble costs, in looks - the interval that costs least is taken instead.
    """

    reference: str
    installed_on: date | None = None
    looks: tuple[Look, ...] = ()
    accepted_risk: float = 0.10
    trouble_price: float | None = None
    max_months: float = 12.0
    kind: str = "chamber"


@dataclass(frozen=True, slots=True)
class QuietPeriod:
    """Days on which an inspection must not fall due, both ends included."""

    starts: date
    ends: date
    name: str


def winter_quiet_periods(first_year: int, last_year: int) -> list[QuietPeriod]:
    """1 December to 31 January, by the year of its December.

    Blockages cluster at Christmas: common practice, no source.
    """
    return [
        QuietPeriod(date(year, 12, 1), date(year + 1, 1, 31), "Christmas and the new year")
        for year in range(first_year, last_year + 1)
    ]
