"""Measured levels of one system in litres, for showing beside its forecast."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from customers.country_rules import RuleBook
from servicing.forecasting.dips import ASSUMED_PART_ERROR, dip_litres, scum_is_assumed
from servicing.forecasting.faults import BadMeasure, FaultyFacts
from servicing.forecasting.tanks import solids_litres
from servicing.forecasts.facts import gather
from servicing.forecasts.reading import read_systems

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import Organisation
    from servicing.forecasting.facts import Dip, SystemFacts
    from servicing.forecasts.reading import OnRecord
    from servicing.models import System

# Standard error of a dip, as the likelihood of the forecast has it: judgement, no source.
OF_LEVEL, OF_VOLUME = 0.12, 0.027


@dataclass(frozen=True, slots=True)
class MeasuredLevel:
    """Sludge and scum found on a day, litres; `scum_litres` where the scum was measured apart."""

    on: dt.date
    litres: float
    error: float
    scum_litres: float | None = None


def measured_levels(system: System, *, today: dt.date) -> list[MeasuredLevel]:
    """Dips of counting visits, oldest first; those without usable dimensions are left out."""
    if not system.holds_sludge:
        return []
    record = read_systems([system.pk])[system.pk]
    rules = RuleBook(system.organisation.profile, today)
    return levels_of(record, organisation=system.organisation, rules=rules)


def levels_of(
    record: OnRecord, *, organisation: Organisation, rules: RuleBook
) -> list[MeasuredLevel]:
    """Dips of one system's record in litres."""
    try:
        facts = gather(record, organisation=organisation, rules=rules, promise=None).facts
    except (BadMeasure, FaultyFacts):
        return []
    levels = [level_of(dip, facts) for dip in facts.dips if not dip.after_emptying]
    return [level for level in levels if level is not None]


def level_of(dip: Dip, facts: SystemFacts) -> MeasuredLevel | None:
    """One dip in litres, taken as the whole tank's; None where the tank's shape is not known.

    Scum that was not measured is taken as usual, as the forecast takes it, and widens the error.
    """
    tank, assumed = facts.tank, 0.0
    if dip.litres is not None:
        litres, scum = dip.litres, None
    else:
        try:
            found = dip_litres(facts, dip)
            floating = solids_litres(tank, 0.0, dip.scum_mm or 0.0, dip.compartment)[1]
        except BadMeasure:
            return None
        share = tank.compartments[dip.compartment].working_volume_litres / tank.shape_litres
        guessed = scum_is_assumed(facts, dip)
        litres, scum = found / share, None if guessed else floating / share
        assumed = ASSUMED_PART_ERROR if guessed or share < 1.0 else 0.0
    error = math.hypot(OF_LEVEL * litres, OF_VOLUME * tank.volume_litres, assumed * litres)
    return MeasuredLevel(dip.on, litres, error, scum)
