"""Dips of a system as readings of whole days, in litres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from servicing.forecasting.accumulation import DIP
from servicing.forecasting.facts import Dip, Kind, Method, SystemFacts
from servicing.forecasting.faults import Assumption
from servicing.forecasting.published_rates import SCUM_SHARE
from servicing.forecasting.tanks import solids_litres
from servicing.forecasting.year_clock import years_of

# What was not measured but taken to be as usual adds so much of the litres to a dip's error. Scum
# of 10-40 % of the solids instead of 27 %: judgement, no source.
ASSUMED_PART_ERROR = 0.20
SAME_DAY_ERROR = 0.027  # share of the volume: a 40 mm error at a third of a 1.6 m drum
Event = tuple[int, float, float, float]


@dataclass(frozen=True, slots=True)
class DayDip:
    """What was found on one day, before or after an emptying of that day."""

    on: date
    after: bool
    event: Event


def day_dips(facts: SystemFacts, volume: float, assumptions: list[Assumption]) -> list[DayDip]:
    """One reading a day: repeats averaged, compartments added, unfit kinds left out."""
    usable = [dip for dip in facts.dips if feeds_the_rate(facts.kind, dip)]
    if len(usable) < len(facts.dips):
        text = "Sludge-blanket and tanker readings are kept, but do not teach the rate."
        assumptions.append(Assumption("kind_not_used", "dips", text))
    found = []
    ordered = sorted(usable, key=lambda dip: (dip.on, dip.after_emptying))
    for (day, after), group in groupby(ordered, key=lambda dip: (dip.on, dip.after_emptying)):
        litres, repeats, assumed = _litres_of_day(facts, list(group), assumptions)
        litres = min(litres, volume)
        unseen = assumed * ASSUMED_PART_ERROR * litres / (SAME_DAY_ERROR * volume)
        event = (DIP, years_of(day), litres, math.sqrt(1.0 / repeats + unseen**2))
        found.append(DayDip(day, after, event))
    return found


def feeds_the_rate(kind: Kind, dip: Dip) -> bool:
    """Whether a dip is of a kind that may teach the rate."""
    return kind is Kind.CESSPOOL or dip.method in {Method.CORE, Method.STICK}


def dip_litres(facts: SystemFacts, dip: Dip) -> float:
    """Litres of solids (liquid in a cesspool) one checked dip found in its compartment."""
    if dip.litres is not None:
        return dip.litres
    sludge, scum = solids_litres(
        facts.tank, dip.sludge_mm or 0.0, dip.scum_mm or 0.0, dip.compartment
    )
    if scum_is_assumed(facts, dip):
        scum = sludge * SCUM_SHARE / (1.0 - SCUM_SHARE)
    return sludge + scum


def scum_is_assumed(facts: SystemFacts, dip: Dip) -> bool:
    """Whether the scum of a dip was not measured and has to be assumed."""
    return dip.litres is None and dip.scum_mm is None and facts.kind is not Kind.CESSPOOL


def _litres_of_day(
    facts: SystemFacts, dips: Sequence[Dip], assumptions: list[Assumption]
) -> tuple[float, int, bool]:
    """Litres, how many readings each compartment has, and whether a part had to be assumed."""
    whole = [dip.litres for dip in dips if dip.litres is not None]
    if whole:
        return sum(whole) / len(whole), len(whole), False
    assumed = False
    parts: dict[int, list[float]] = {}
    for dip in dips:
        if scum_is_assumed(facts, dip):
            text = "Scum was not measured: taken as 27 % of the solids."
            assumptions.append(Assumption("scum_unknown", "dips", text))
            assumed = True
        parts.setdefault(dip.compartment, []).append(dip_litres(facts, dip))
    seen = sum(facts.tank.compartments[i].working_volume_litres for i in parts)
    litres = sum(sum(values) / len(values) for values in parts.values())
    if seen < facts.tank.shape_litres - 1e-9:
        text = "Not every compartment was measured: the others taken to be as full."
        assumptions.append(Assumption("compartment_not_measured", "dips", text))
        litres *= facts.tank.shape_litres / seen
        assumed = True
    return litres, min(len(values) for values in parts.values()), assumed
