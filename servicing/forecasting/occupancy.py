"""Person-equivalents: how many residents' worth of sludge a place sends down, day by day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from servicing.forecasting.facts import Spell
from servicing.forecasting.faults import Assumption, Fault
from servicing.forecasting.published_rates import (
    GRINDER_FACTOR,
    GRINDER_LOG_SD,
    NBR_7229_CONTRIBUTIONS,
)

# Persons in a household by bedrooms, and the spread of its logarithm: judgement, no source.
PERSONS_BY_BEDROOMS = {1: 1.4, 2: 2.0, 3: 2.6, 4: 3.1, 5: 3.5, 6: 4.0}
PERSONS_UNKNOWN = 2.6
UNKNOWN_LOG_SD = 0.45
MISREPORTED_LOG_SD = 0.15  # households told to us are wrong by about so much: judgement
MOST_PERSONS = 5000.0
DAYS_A_YEAR = 365.25
WEEKS_A_YEAR = 52.0


@dataclass(frozen=True, slots=True)
class PersonEquivalents:
    """Steps of person-equivalents: ``persons[i]`` holds from ``starts[i]`` on.

    ``log_sd`` is the spread of their logarithm; ``season`` the months of use of the last spell.
    """

    starts: tuple[date, ...]
    persons: tuple[float, ...]
    log_sd: float
    season: tuple[int, int] | None
    assumptions: tuple[Assumption, ...]


def person_equivalents(spells: Sequence[Spell], bedrooms: int | None) -> PersonEquivalents:
    """Steps of person-equivalents of checked spells; unknown persons by bedrooms."""
    assumptions: list[Assumption] = []
    ordered = sorted(spells, key=lambda spell: spell.starts)
    if not ordered:
        ordered = [Spell(starts=date(1900, 1, 1))]
    unknown = any(_is_unknown(spell) for spell in ordered)
    if unknown:
        assumptions.append(_unknown_persons(bedrooms))
    variance = UNKNOWN_LOG_SD**2 if unknown else MISREPORTED_LOG_SD**2
    if any(spell.grinder for spell in ordered):
        variance += GRINDER_LOG_SD**2
    starts = tuple(spell.starts for spell in ordered)
    persons = tuple(equivalents_of(spell, bedrooms) for spell in ordered)
    season = ordered[-1].season
    return PersonEquivalents(starts, persons, math.sqrt(variance), season, tuple(assumptions))


def _is_unknown(spell: Spell) -> bool:
    return spell.persons is None and spell.units is None


def household_by_bedrooms(bedrooms: int | None) -> float:
    """Persons to expect in a household of unknown size (median; no source)."""
    if bedrooms is None:
        return PERSONS_UNKNOWN
    return PERSONS_BY_BEDROOMS[min(max(bedrooms, 1), 6)]


def equivalents_of(spell: Spell, bedrooms: int | None) -> float:
    """Person-equivalents averaged over a year of one spell."""
    persons = spell.units if spell.units is not None else spell.persons
    if persons is None:
        persons = household_by_bedrooms(bedrooms)
    yearly = persons * NBR_7229_CONTRIBUTIONS[spell.use] * _weeks_of_use(spell) / WEEKS_A_YEAR
    yearly += spell.guests_person_nights / DAYS_A_YEAR
    return yearly * (GRINDER_FACTOR if spell.grinder else 1.0)


def _weeks_of_use(spell: Spell) -> float:
    if spell.season is None:
        return spell.weeks_per_year
    first, last = spell.season
    months = (last - first) % 12 + 1
    return min(spell.weeks_per_year, months * WEEKS_A_YEAR / 12)


def _unknown_persons(bedrooms: int | None) -> Assumption:
    persons = household_by_bedrooms(bedrooms)
    known_by = f"{bedrooms} bedrooms" if bedrooms is not None else "an unknown house"
    text = f"Nobody told us how many live there: about {persons:g} persons taken for {known_by}."
    return Assumption("persons_unknown", "occupancy", text)


def occupancy_faults(reference: str, spells: Sequence[Spell]) -> list[Fault]:
    """Every fault in the spells: absurd numbers, gaps, overlaps, unknown uses."""
    faults: list[Fault] = []
    for index, spell in enumerate(spells):
        where = f"occupancy[{index}]"
        faults += [
            Fault(reference, f"{where}.{field}", code, message)
            for field, code, message in _spell_faults(spell)
        ]
    numbered = sorted(enumerate(spells), key=lambda pair: pair[1].starts)
    for (_, before), (index, after) in pairwise(numbered):
        faults += _join_faults(reference, before, index, after)
    return faults


def _spell_faults(spell: Spell) -> list[tuple[str, str, str]]:
    found: list[tuple[str, str, str]] = []
    bounds = (
        ("persons", spell.persons, MOST_PERSONS),
        ("units", spell.units, MOST_PERSONS * 10),
        ("weeks_per_year", spell.weeks_per_year, 53.0),
        ("guests_person_nights", spell.guests_person_nights, MOST_PERSONS * 366),
    )
    for name, value, most in bounds:
        if value is not None and not (math.isfinite(value) and 0 <= value <= most):
            found.append((name, "out_of_range", f"must be between 0 and {most:g}, not {value}"))
    if spell.use not in NBR_7229_CONTRIBUTIONS:
        found.append(("use", "unknown_use", f"{spell.use!r} is not a use we have figures for"))
    if spell.season is not None and not all(1 <= month <= 12 for month in spell.season):
        found.append(("season", "out_of_range", "months must be between 1 and 12"))
    if spell.ends is not None and spell.ends < spell.starts:
        found.append(("ends", "ends_before_start", "the spell ends before it starts"))
    return found


def _join_faults(reference: str, before: Spell, index: int, after: Spell) -> list[Fault]:
    field = f"occupancy[{index}].starts"
    if after.starts == before.starts:
        message = f"two spells start on {after.starts}"
        return [Fault(reference, field, "overlap", message)]
    if before.ends is None:
        return []
    if after.starts <= before.ends:
        message = f"starts on {after.starts}, before the last spell ends on {before.ends}"
        return [Fault(reference, field, "overlap", message)]
    if after.starts > before.ends + timedelta(days=1):
        message = f"nothing is known between {before.ends} and {after.starts}"
        return [Fault(reference, field, "gap", message)]
    return []
