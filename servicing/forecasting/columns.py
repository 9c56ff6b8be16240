"""From what is known of each system to the arrays the mathematics works on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby

import numpy as np

from servicing.forecasting.accumulation import (
    DIP,
    EXPONENTS,
    RATE_MEDIAN,
    RESET,
    Columns,
    Prior,
)
from servicing.forecasting.facts import Dip, Emptying, Kind, Method, SystemFacts
from servicing.forecasting.faults import Assumption
from servicing.forecasting.occupancy import (
    MISREPORTED_LOG_SD,
    PersonEquivalents,
    person_equivalents,
)
from servicing.forecasting.published_rates import (
    CESSPOOL_LITRES_PER_PERSON_DAY,
    CESSPOOL_LOG_SD,
    RESIDUE_SHARE,
    RESIDUE_SHARE_SD,
    SCUM_SHARE,
)
from servicing.forecasting.tanks import solids_litres, trigger_litres
from servicing.forecasting.year_clock import YearClock, season_table, years_of

TRIGGER_SHARES = {
    Kind.SEPTIC_TANK: 1 / 3,  # design use: common practice, no source
    Kind.CESSPOOL: 0.90,  # Nebraska Title 124, sealed holding tanks
    Kind.PACKAGE_PLANT: 0.30,  # arrete of 7 September 2009 (second-hand)
    Kind.GREASE_TRAP: 0.25,  # 310 CMR 15.351
}
TRAP_FILL_DAYS = 60.0  # a trap reaches a quarter in about so long: judgement, no source
TRAP_LOG_SD = 0.8  # judgement, no source
ANYTHING_LEFT_SD = 0.35  # of the volume: a dip right after an emptying says what was left
SAME_DAY_ERROR = 0.027  # share of the volume: a 40 mm error at a third of a 1.6 m drum
Event = tuple[int, float, float, float]


@dataclass(slots=True)
class Row:
    """One system on its way into the columns."""

    facts: SystemFacts
    people: PersonEquivalents
    start: date
    volume: float
    trigger: float
    log_rate: float
    log_rate_sd: float
    events: list[Event]
    assumptions: list[Assumption] = field(default_factory=list)


def row_of(facts: SystemFacts, prior: Prior) -> Row:
    """One checked system as a row; raises BadMeasure where the trigger cannot be used."""
    people = person_equivalents(facts.occupancy, facts.bedrooms)
    volume = facts.tank.volume_litres
    assumptions = list(people.assumptions)
    events, start = _events(facts, volume, assumptions)
    log_rate, log_sd = _rate(facts, people, volume, prior)
    trigger = _trigger(facts, assumptions)
    if facts.occupancy and facts.occupancy[0].starts > start:
        text = "Nothing is known of who lived there earlier: as many as in the first record."
        assumptions.append(Assumption("earlier_occupancy", "occupancy", text))
    return Row(facts, people, start, volume, trigger, log_rate, log_sd, events, assumptions)


def _trigger(facts: SystemFacts, assumptions: list[Assumption]) -> float:
    rule = facts.trigger
    share = rule.share
    no_shape = not facts.tank.compartments
    by_clearance = rule.sludge_clear_mm is not None or rule.scum_clear_mm is not None
    if share is None and (no_shape or not by_clearance):
        share = TRIGGER_SHARES[facts.kind]
        if by_clearance:
            text = f"The tank's dimensions are missing: {share:.0%} of its volume stands for them."
            assumptions.append(Assumption("trigger_by_share", "tank.compartments", text))
    return trigger_litres(
        facts.tank,
        share=share,
        sludge_clear_mm=rule.sludge_clear_mm,
        scum_clear_mm=rule.scum_clear_mm,
        scum_share=SCUM_SHARE,
    )


def _rate(
    facts: SystemFacts, people: PersonEquivalents, volume: float, prior: Prior
) -> tuple[float, float]:
    """Median and spread of the log rate, L a person at one year.

    The spread between households was seen through persons as told, so it holds the usual
    misreporting; only what is known less well comes on top.
    """
    if facts.kind is Kind.CESSPOOL:
        yearly = CESSPOOL_LITRES_PER_PERSON_DAY * 365.25
        return math.log(yearly), math.hypot(CESSPOOL_LOG_SD, people.log_sd)
    if facts.kind is Kind.GREASE_TRAP:
        quarter = 0.25 * volume * 365.25 / TRAP_FILL_DAYS
        return math.log(quarter / _usual_use(people)), TRAP_LOG_SD
    between = max(prior.log_sd**2 - MISREPORTED_LOG_SD**2, 0.01)
    return math.log(prior.median_rate), math.sqrt(between + people.log_sd**2)


def _usual_use(people: PersonEquivalents) -> float:
    """Person-equivalents of the last spell in which a kitchen was really used, 1 if none was."""
    least = max(0.01 * max(people.persons), 1e-3)
    return next((persons for persons in reversed(people.persons) if persons >= least), 1.0)


def _events(
    facts: SystemFacts, volume: float, assumptions: list[Assumption]
) -> tuple[list[Event], date]:
    """Resets and dips in time order, and the start of the present cycle."""
    residue = (0.0, 0.01) if facts.kind is Kind.CESSPOOL else (RESIDUE_SHARE, RESIDUE_SHARE_SD)
    happenings: list[tuple[date, int, Event]] = []
    start = facts.installed_on
    if facts.installed_on is not None:
        made = (RESET, years_of(facts.installed_on), 0.0, 0.005 * volume)
        happenings.append((facts.installed_on, 0, made))
    dips = _day_dips(facts, volume, assumptions)
    measured_after = {dip.on for dip in dips if dip.after}
    for emptying in facts.emptyings:
        spread = ANYTHING_LEFT_SD if emptying.on in measured_after else residue[1]
        happenings.append((emptying.on, 2, _reset(emptying, volume, (residue[0], spread))))
        start = max(start, emptying.on) if start else emptying.on
    happenings += [(dip.on, 3 if dip.after else 1, dip.event) for dip in dips]
    happenings.sort(key=lambda item: (item[0], item[1]))
    events = [event for _, _, event in happenings]
    first = next((i for i, event in enumerate(events) if event[0] == RESET), None)
    if first is None:
        assert happenings, "checked: no_start"
        start = happenings[0][0]
        text = f"No emptying is recorded: counted from the first measurement on {start}."
        assumptions.append(Assumption("starts_at_dip", "emptyings", text))
        _, when, litres, _ = events[0]
        first_sd = math.hypot(0.12 * litres, SAME_DAY_ERROR * volume)
        return [(RESET, when, litres, first_sd), *events[1:]], start
    if not facts.emptyings:
        text = f"No emptying is recorded: counted from its installation on {start}."
        assumptions.append(Assumption("never_emptied", "emptyings", text))
    assert start is not None, "a reset has a date"
    return events[first:], start


def _reset(emptying: Emptying, volume: float, residue: tuple[float, float]) -> Event:
    if emptying.left_litres is not None:
        left, spread = emptying.left_litres, SAME_DAY_ERROR * volume
    elif emptying.left_share is not None:
        left, spread = emptying.left_share * volume, SAME_DAY_ERROR * volume
    else:
        left, spread = residue[0] * volume, residue[1] * volume
    return (RESET, years_of(emptying.on), left, spread)


@dataclass(frozen=True, slots=True)
class _DayDip:
    on: date
    after: bool
    event: Event


def _day_dips(facts: SystemFacts, volume: float, assumptions: list[Assumption]) -> list[_DayDip]:
    """One reading a day: repeats averaged, compartments added, unfit kinds left out."""
    usable = [dip for dip in facts.dips if feeds_the_rate(facts.kind, dip)]
    if len(usable) < len(facts.dips):
        text = "Sludge-blanket and tanker readings are kept, but do not teach the rate."
        assumptions.append(Assumption("kind_not_used", "dips", text))
    found = []
    ordered = sorted(usable, key=lambda dip: (dip.on, dip.after_emptying))
    for (day, after), group in groupby(ordered, key=lambda dip: (dip.on, dip.after_emptying)):
        litres, repeats = _litres_of_day(facts, list(group), assumptions)
        event = (DIP, years_of(day), min(litres, volume), 1.0 / math.sqrt(repeats))
        found.append(_DayDip(day, after, event))
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
) -> tuple[float, int]:
    whole = [dip.litres for dip in dips if dip.litres is not None]
    if whole:
        return sum(whole) / len(whole), len(whole)
    parts: dict[int, list[float]] = {}
    for dip in dips:
        if scum_is_assumed(facts, dip):
            text = "Scum was not measured: taken as 27 % of the solids."
            assumptions.append(Assumption("scum_unknown", "dips", text))
        parts.setdefault(dip.compartment, []).append(dip_litres(facts, dip))
    seen = sum(facts.tank.compartments[i].working_volume_litres for i in parts)
    litres = sum(sum(values) / len(values) for values in parts.values())
    if seen < facts.tank.shape_litres - 1e-9:
        text = "Not every compartment was measured: the others taken to be as full."
        assumptions.append(Assumption("compartment_not_measured", "dips", text))
        litres *= facts.tank.shape_litres / seen
    return litres, min(len(values) for values in parts.values())


def columns_of(rows: Sequence[Row]) -> Columns:
    """Rows side by side; ragged histories are padded."""
    steps = max(len(row.people.starts) for row in rows)
    most = max(len(row.events) for row in rows)
    n = len(rows)
    starts, persons = np.full((n, steps), np.inf), np.zeros((n, steps))
    events = np.zeros((n, most, 4))
    for i, row in enumerate(rows):
        known = len(row.people.starts)
        starts[i, :known] = [years_of(day) for day in row.people.starts]
        persons[i, :known] = row.people.persons
        events[i, : len(row.events)] = row.events
    clock = _clock(rows)
    linear = [row.facts.kind in {Kind.CESSPOOL, Kind.GREASE_TRAP} for row in rows]
    backlog = [row.people.persons[0] * row.facts.backlog_litres_per_person for row in rows]
    return Columns(
        volume=np.array([row.volume for row in rows]),
        trigger=np.array([row.trigger for row in rows]),
        log_rate=np.array([row.log_rate for row in rows]),
        log_rate_sd=np.array([row.log_rate_sd for row in rows]),
        exponents=np.where(np.array(linear)[:, None], 1.0, np.array(EXPONENTS)[None, :]),
        spell_starts=clock.use(starts) if clock.tables is None else _finite_use(clock, starts),
        persons=persons,
        backlog=np.array(backlog) / RATE_MEDIAN,
        event_kind=events[:, :, 0].astype(np.int8),
        event_time=clock.use(events[:, :, 1]),
        event_litres=events[:, :, 2].copy(),
        event_sd=events[:, :, 3].copy(),
        clock=clock,
    )


def _clock(rows: Sequence[Row]) -> YearClock:
    if all(row.people.season is None for row in rows):
        return YearClock(None)
    return YearClock(np.array([season_table(row.people.season) for row in rows]))


def _finite_use(clock: YearClock, starts: np.ndarray) -> np.ndarray:
    known = np.isfinite(starts)
    return np.where(known, clock.use(np.where(known, starts, 0.0)), np.inf)
