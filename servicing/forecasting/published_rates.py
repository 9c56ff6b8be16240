"""Published figures, each with its source, and the few that have none and say so.

Litres, persons, years and millimetres. A figure marked "no source" is common practice or a
judgement of ours, never to be shown as a rule.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

US_GALLON_LITRES = 3.785411784  # exact, by definition (NIST Handbook 44, appendix C)
IMPERIAL_GALLON_LITRES = 4.54609  # exact, by definition (UK Weights and Measures Act 1985)

# Gray N.F. 1995, Environmental Technology 16(8):795-800 (abstract), 28 tanks:
# litres of sludge for one person after so many years (0.254 and 0.178 L/person/day).
GRAY_1995_LITRES_PER_PERSON = {0.5: 0.254 * 365.25 * 0.5, 5.0: 0.178 * 365.25 * 5.0}
GRAY_1995_MEAN_LITRES_PER_PERSON_YEAR = 85.3
# Philip, Maunoir, Rambaud, Philippi 1993, Water Sci. Technol. 28(10):57 (abstract), 33 systems.
PHILIP_1993_LITRES_PER_PERSON_YEAR = 0.2 * 365.25

# ABNT NBR 7229:1993 Table 3: days of fresh sludge stored, by interval in years, for the coldest
# month at most 10 C, between 10 and 20 C, above 20 C.
NBR_7229_K_DAYS = {"cold": (94, 134, 174), "temperate": (65, 105, 145), "warm": (57, 97, 137)}
# Derived from the table above: a constant undigested backlog in L/person; the slope is 40 a year.
NBR_7229_BACKLOG_LITRES = {"cold": 54.0, "temperate": 25.0, "warm": 17.0}
NBR_7229_SLOPE_LITRES_PER_YEAR = 40.0

# ABNT NBR 7229:1993 Table 1 (an open-source transcription): fresh sludge in L a day per unit,
# used as person-equivalents of sludge.
NBR_7229_CONTRIBUTIONS = {
    "residence": 1.0,
    "hotel": 1.0,
    "temporary lodging": 1.0,
    "factory": 0.30,
    "office": 0.20,
    "public building": 0.20,
    "school": 0.20,
    "bar": 0.10,
    "restaurant": 0.10,
    "theatre": 0.02,
    "public toilet": 4.0,
}
NBR_7229_UNITS = {"restaurant": "meal", "theatre": "seat", "public toilet": "WC bowl"}

# Franceys, Pickford & Reed, A guide to the development of on-site sanitation, WHO 1992
# (transcription): sludge digestion factor for 1, 2, ... 6 or more years between emptyings.
WHO_1992_FACTOR_F = {
    "warm": (1.3, 1.0, 1.0, 1.0, 1.0, 1.0),
    "temperate": (1.5, 1.15, 1.0, 1.0, 1.0, 1.0),
    "cold": (2.5, 1.5, 1.27, 1.15, 1.06, 1.0),
}

GRINDER_FACTOR = 1.5  # US extension text, and TM 5-814-8 (garbage multiplies BOD by 1.5)
GRINDER_LOG_SD = 0.2  # judgement, no source
SCUM_SHARE = 0.27  # scum as a share of solids: Philippine design practice (second-hand)
RESIDUE_SHARE = 0.05  # sludge left after emptying: IS 2470 (seed 10 % of sludge storage)
RESIDUE_SHARE_SD = 0.035  # judgement, no source

CESSPOOL_LITRES_PER_PERSON_DAY = 150.0  # British Water Flows and Loads (second-hand)
CESSPOOL_LOG_SD = 0.35  # judgement, no source


def climate_class(coldest_month_celsius: float) -> str:
    """Class of ABNT NBR 7229 Table 3 for the mean temperature of the coldest month."""
    if not math.isfinite(coldest_month_celsius) or not -60 <= coldest_month_celsius <= 40:
        raise ValueError(f"coldest month of {coldest_month_celsius} C is not a temperature")
    if coldest_month_celsius <= 10:
        return "cold"
    return "temperate" if coldest_month_celsius <= 20 else "warm"


def cold_backlog(coldest_month_celsius: float, *, winter_below: float = 0.0) -> float:
    """Extra undigested sludge, L/person, where it is colder than where our curve was measured.

    Gray's tanks stood in Ireland, already in NBR 7229's coldest class, so the curve carries
    that class's backlog. Only below ``winter_below`` C (judgement, no source) is the difference
    between the cold and the temperate class added once more.
    """
    climate_class(coldest_month_celsius)
    if coldest_month_celsius >= winter_below:
        return 0.0
    return NBR_7229_BACKLOG_LITRES["cold"] - NBR_7229_BACKLOG_LITRES["temperate"]


def mancl_years(us_gallons: float, persons: float) -> float:
    """Years between pump-outs by Mancl 1984, by her own definition of full.

    Full means 24 h of clear space left at 50 US gal/person/day, filled at 76.84 US
    gal/person/year: the formula repeats the published table to 0.1 year. Never to be mixed
    with a trigger of one third: it is another quantity.
    """
    _positive(us_gallons=us_gallons, persons=persons)
    return max(0.0, (us_gallons - 50.0 * persons) / (76.84 * persons))


def nbr_sludge_litres(persons: float, years: int, climate: str, contribution: float = 1.0) -> float:
    """Digested sludge in store after whole years, litres (ABNT NBR 7229:1993, K x Lf)."""
    _positive(persons=persons)
    if years not in (1, 2, 3, 4, 5):
        raise ValueError("NBR 7229 tabulates intervals of 1 to 5 whole years")
    first = NBR_7229_K_DAYS[climate][0]
    return persons * contribution * (first + NBR_7229_SLOPE_LITRES_PER_YEAR * (years - 1))


def nbr_tank_litres(
    persons: float,
    *,
    flow_litres_per_day: float,
    retention_days: float,
    years: int,
    climate: str,
    contribution: float = 1.0,
) -> float:
    """Useful volume by ABNT NBR 7229:1993: 1000 + N (C T + K Lf), litres."""
    liquid = persons * flow_litres_per_day * retention_days
    return 1000.0 + liquid + nbr_sludge_litres(persons, years, climate, contribution)


def approved_document_h2_litres(persons: int) -> float:
    """Septic tank below the inlet, litres: 2700 for 4 users, 180 each further (AD H2, England)."""
    _positive(persons=persons)
    return 2700.0 + 180.0 * max(0, persons - 4)


def bs6297_litres(persons: int) -> float:
    """Septic tank, litres: 180 P + 2000, P at least 4, at least 2700 (NHBC Standards 2020, 5.3.9).

    Assumes yearly emptying.
    """
    _positive(persons=persons)
    return max(2700.0, 180.0 * max(4, persons) + 2000.0)


def cesspool_litres(persons: int) -> float:
    """Cesspool below the inlet, litres: 18000 for 2 users, 6800 each further (AD H2, England)."""
    _positive(persons=persons)
    return 18000.0 + 6800.0 * max(0, persons - 2)


def british_water_population(*bedrooms: int) -> int:
    """Design population of houses sharing a system (British Water Flows and Loads 4).

    5 persons up to 3 bedrooms and one more for each further bedroom, house by house, added;
    then x0.9 for 13-25 and x0.8 for 26-50 persons, rounded up.
    """
    if not bedrooms or any(rooms < 1 for rooms in bedrooms):
        raise ValueError("give the bedrooms of each house, one or more")
    persons = sum(5 + max(0, rooms - 3) for rooms in bedrooms)
    tenths = 9 if 13 <= persons <= 25 else 8 if 26 <= persons <= 50 else 10
    return -(-persons * tenths // 10)


def ireland_population(bedrooms: int) -> int:
    """Design population: 4 for two bedrooms, one more each (Irish EPA Code of Practice)."""
    if bedrooms < 1:
        raise ValueError("bedrooms must be one or more")
    return 4 + max(0, bedrooms - 2)


def percolation_value(seconds: float, fall_mm: float = 150.0) -> float:
    """Vp in s/mm: time of the 75 %-25 % fall of a 300 mm hole over 150 mm (AD H2, BS 6297)."""
    _positive(seconds=seconds, fall_mm=fall_mm)
    return seconds / fall_mm


def drainage_field_m2(persons: float, vp: float, *, after_secondary: bool = False) -> float:
    """Floor area of a drainage field, m2: p Vp 0.25 (AD H2; BS 6297:2007+A1:2008).

    0.20 after secondary treatment is from memory. Vp outside 12-100 s/mm is refused: the
    ground drains too fast or too slowly for a field.
    """
    _positive(persons=persons)
    if not 12.0 <= vp <= 100.0:
        raise ValueError(f"Vp of {vp:g} s/mm is outside 12-100: a drainage field will not do")
    return persons * vp * (0.20 if after_secondary else 0.25)


@dataclass(frozen=True, slots=True)
class TriggerRule:
    """A published rule for when a system must be emptied; shares of the working volume."""

    where: str
    system: str
    source: str
    share: float | None = None
    sludge_clear_mm: float | None = None
    scum_clear_mm: float | None = None


TRIGGER_RULES = {
    "design use": TriggerRule("", "septic tank", "common practice, no source", share=1 / 3),
    "epa": TriggerRule(
        "US EPA homeowner guidance",
        "septic tank",
        "US EPA SepticSmart guidance as restated by county governments",
        0.25,
        305.0,
        152.0,
    ),
    "massachusetts": TriggerRule(
        "Massachusetts", "septic tank", "310 CMR 15.351", None, 305.0, 51.0
    ),
    "minnesota": TriggerRule("Minnesota", "septic tank", "Minn. R. 7080.2450", 0.25, 305.0, 76.0),
    "nebraska holding": TriggerRule("Nebraska", "cesspool", "Nebraska Title 124", 0.90),
    "france": TriggerRule("France", "septic tank", "arrete of 7 September 2009", 0.50),
    "france plant": TriggerRule("France", "package plant", "arrete of 7 September 2009", 0.30),
    "germany settling": TriggerRule("Germany", "single-chamber settling pit", "DIN 4261-1", 0.70),
    "germany digestion": TriggerRule("Germany", "multi-chamber pit", "DIN 4261-1", 0.50),
    "ireland": TriggerRule("Ireland", "septic tank", "Irish EPA Code of Practice 2009 era", 0.30),
    "massachusetts trap": TriggerRule("Massachusetts", "grease trap", "310 CMR 15.351", 0.25),
}


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not math.isfinite(value) or value <= 0:
            raise ValueError(f"{name} must be more than 0, not {value}")
