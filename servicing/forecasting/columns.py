"""From what is known of each system to the arrays the mathematics works on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from servicing.forecasting.accumulation import (
    EXPONENTS,
    RATE_MEDIAN,
    RESET,
    Columns,
    Prior,
)
from servicing.forecasting.dips import SAME_DAY_ERROR, Event, day_dips
from servicing.forecasting.facts import Emptying, Kind, SystemFacts
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
from servicing.forecasting.tanks import trigger_litres
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


@dataclass(slots=True)
class Row:
    """One system on its way into the columns."""

    facts: SystemFacts
    people: PersonEquivalents
    start: date
    filled_from: date
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
    events, start, filled_from = _events(facts, volume, assumptions)
    log_rate, log_sd = _rate(facts, people, volume, prior)
    trigger = _trigger(facts, assumptions)
    if facts.occupancy and facts.occupancy[0].starts > start:
        text = "Nothing is known of who lived there earlier: as many as in the first record."
        assumptions.append(Assumption("earlier_occupancy", "occupancy", text))
    return Row(
        facts, people, start, filled_from, volume, trigger, log_rate, log_sd, events, assumptions
    )


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
) -> tuple[list[Event], date, date]:
    """Resets and dips in time order, the day ceilings count from, and of the last reset."""
    residue = (0.0, 0.01) if facts.kind is Kind.CESSPOOL else (RESIDUE_SHARE, RESIDUE_SHARE_SD)
    happenings: list[tuple[date, int, Event]] = []
    start = filled_from = facts.installed_on
    if facts.installed_on is not None:
        made = (RESET, years_of(facts.installed_on), 0.0, 0.005 * volume)
        happenings.append((facts.installed_on, 0, made))
    dips = day_dips(facts, volume, assumptions)
    measured_after = {dip.on for dip in dips if dip.after}
    for emptying in _that_count(facts.emptyings, measured_after, assumptions):
        spread = ANYTHING_LEFT_SD if emptying.on in measured_after else residue[1]
        happenings.append((emptying.on, 2, _reset(emptying, volume, (residue[0], spread))))
        filled_from = max(filled_from, emptying.on) if filled_from else emptying.on
        if not emptying.in_part:
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
        return [(RESET, when, litres, first_sd), *events[1:]], start, start
    if not facts.emptyings:
        text = f"No emptying is recorded: counted from its installation on {start}."
        assumptions.append(Assumption("never_emptied", "emptyings", text))
    assert filled_from is not None, "a reset has a date"
    return events[first:], start or filled_from, filled_from


def _that_count(
    emptyings: Sequence[Emptying], measured_after: set[date], assumptions: list[Assumption]
) -> list[Emptying]:
    """Emptyings that lower the level to something known; of the rest it is said so."""
    found = []
    for emptying in emptyings:
        left = emptying.left_litres is not None or emptying.left_share is not None
        if emptying.in_part and not left and emptying.on not in measured_after:
            text = (
                f"The emptying of {emptying.on} was in part and nobody wrote down what stayed: "
                "reckoned as if nothing had been taken."
            )
            assumptions.append(Assumption("left_unknown", "emptyings", text))
        else:
            found.append(emptying)
    return found


def _reset(emptying: Emptying, volume: float, residue: tuple[float, float]) -> Event:
    if emptying.left_litres is not None:
        left, spread = emptying.left_litres, SAME_DAY_ERROR * volume
    elif emptying.left_share is not None:
        left, spread = emptying.left_share * volume, SAME_DAY_ERROR * volume
    else:
        left, spread = residue[0] * volume, residue[1] * volume
    return (RESET, years_of(emptying.on), left, spread)


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
