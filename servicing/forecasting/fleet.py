"""What a whole fleet teaches: its typical rate, spread, curve and dip error.

Empirical Bayes: the values that make all the fleet's dips together most likely, held to the
book by weak priors, so that no dip changes nothing and about thirty first dips suffice. The
filter of ``learning`` is the likelihood; nothing else is assumed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import BOOK_PRIOR, DIP, EXPONENTS, Columns, Prior
from servicing.forecasting.checks import faults_of
from servicing.forecasting.columns import Row, columns_of, row_of
from servicing.forecasting.dips import dip_litres, feeds_the_rate
from servicing.forecasting.facts import Kind, SystemFacts
from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.learning import DIP_VOLUME_ERROR, Posterior, learn

Floats = npt.NDArray[np.float64]

# How far a fleet may lie from the book, as sd of logarithms: judgement, no source.
MEDIAN_RATE_SD = 0.50
SPREAD_SD = 0.25
DIP_ERROR_SD = 0.50
CURVE_COUNTS = 12.0  # systems' worth of trust in the book's exponents
MOST_SYSTEMS = 500  # a fleet is learned from so many of its measured systems at most
ROUNDS = 2
LEAST_DOUBT = 0.4  # crews of one firm still differ in their dips: judgement, no source
FEWEST_FOR_OWN_STRATUM = 30


@dataclass(frozen=True, slots=True)
class FleetLearned:
    """What a fleet taught, in numbers and in plain words."""

    prior: Prior
    systems: int
    dips: int
    repeat_pairs: int
    text: str


def learn_fleet(
    systems: Sequence[SystemFacts], *, today: date, book: Prior = BOOK_PRIOR
) -> FleetLearned:
    """Learn from every septic tank and plant with a usable dip; faulty systems are passed over."""
    rows = [row for facts in systems if (row := _row_with_dips(facts, today, book)) is not None]
    pairs, repeat_error = repeat_dip_error([row.facts for row in rows])
    if not rows:
        return FleetLearned(book, 0, 0, pairs, "No measurement yet: the book's figures hold.")
    chosen = _spread_out(rows, MOST_SYSTEMS)
    prior = _most_likely(columns_of(chosen), book, pairs, repeat_error)
    prior = replace(prior, systems=len(rows))
    dips = sum(event[0] == DIP for row in rows for event in row.events)
    return FleetLearned(prior, len(rows), dips, pairs, in_words(prior, book, len(rows), dips))


def learn_strata(
    strata: Mapping[str, Sequence[SystemFacts]], *, today: date, fleet: Prior
) -> dict[str, FleetLearned]:
    """What each stratum with FEWEST_FOR_OWN_STRATUM measured systems teaches; no other is given.

    The fleet as a whole is the book of its strata: each starts from it, and those too small
    to teach share its prior.
    """
    found = {}
    for name, systems in strata.items():
        if len(systems) < FEWEST_FOR_OWN_STRATUM:
            continue
        own = learn_fleet(systems, today=today, book=fleet)
        if own.systems >= FEWEST_FOR_OWN_STRATUM:
            found[name] = own
    return found


def _row_with_dips(facts: SystemFacts, today: date, book: Prior) -> Row | None:
    if facts.kind not in {Kind.SEPTIC_TANK, Kind.PACKAGE_PLANT} or not facts.dips:
        return None
    if faults_of(facts, today):
        return None
    try:
        row = row_of(facts, book)
    except BadMeasure:
        return None
    return row if any(event[0] == DIP for event in row.events) else None


def _spread_out(rows: list[Row], most: int) -> list[Row]:
    """At most so many rows, evenly through the fleet and always the same ones."""
    if len(rows) <= most:
        return rows
    return [rows[int(i)] for i in np.linspace(0, len(rows) - 1, most)]


def _most_likely(columns: Columns, book: Prior, pairs: int, repeat_error: float) -> Prior:
    """Climb the likelihood, one value at a time, from the book."""
    prior = replace(book, dip_doubt=0.0)
    centre, sd = _dip_error_belief(book, pairs, repeat_error)
    for _ in range(ROUNDS):
        prior = _climb(columns, prior, book, "median_rate", MEDIAN_RATE_SD)
        prior = _climb(columns, prior, book, "log_sd", SPREAD_SD)
        prior = _climb(columns, prior, replace(book, dip_error=centre), "dip_error", sd)
        weights = _exponent_weights(columns, prior, book)
        prior = replace(prior, exponent_weights=weights)
    return replace(prior, dip_doubt=_doubt_left(columns, prior, book, centre, sd))


def _doubt_left(columns: Columns, prior: Prior, book: Prior, centre: float, sd: float) -> float:
    """Doubt in the dip error after a fleet's dips, 1 for none: by the bend of its likelihood."""
    here, step = math.log(prior.dip_error), 0.3
    low, middle, high = (
        log_likelihood(columns, replace(prior, dip_error=math.exp(tried)), book)
        - 0.5 * ((tried - math.log(centre)) / sd) ** 2
        for tried in (here - step, here, here + step)
    )
    certainty = max((2 * middle - low - high) / step**2, 1.0 / DIP_ERROR_SD**2)
    return max(1.0 / math.sqrt(certainty) / DIP_ERROR_SD, LEAST_DOUBT)


def _climb(columns: Columns, prior: Prior, book: Prior, name: str, sd: float) -> Prior:
    """The best value of one field near the present one, by a parabola through its logarithm."""
    centre = math.log(getattr(book, name))
    steps = np.array([-0.3, 0.0, 0.3])
    for _ in range(2):
        here = math.log(getattr(prior, name))
        tries = [_with(prior, name, math.exp(here + step)) for step in steps]
        worth = np.array([
            log_likelihood(columns, tried, book) - 0.5 * ((here + step - centre) / sd) ** 2
            for tried, step in zip(tries, steps, strict=True)
        ])  # fmt: skip
        prior = _with(prior, name, math.exp(here + _top_of(steps, worth)))
        steps = steps / 3.0
    return prior


def _with(prior: Prior, name: str, value: float) -> Prior:
    changed: dict[str, Any] = {name: value}
    return replace(prior, **changed)


def _top_of(steps: Floats, worth: Floats) -> float:
    """Where a parabola through three points is highest, within twice their reach."""
    bend = worth[0] - 2 * worth[1] + worth[2]
    if bend >= -1e-9:
        return float(steps[int(np.argmax(worth))])
    move = 0.5 * (worth[0] - worth[2]) / bend * steps[2]
    return float(np.clip(move, 2 * steps[0], 2 * steps[2]))


def log_likelihood(columns: Columns, prior: Prior, book: Prior) -> float:
    """Log-likelihood of all the fleet's dips under a prior; ``book`` made the columns."""
    return float(_learn_under(columns, prior, book).log_likelihood.sum())


def _learn_under(columns: Columns, prior: Prior, book: Prior) -> Posterior:
    shift = math.log(prior.median_rate / book.median_rate)
    extra = columns.log_rate_sd**2 - book.log_sd**2
    spread = np.sqrt(np.maximum(extra + prior.log_sd**2, 0.01))
    moved = replace(columns, log_rate=columns.log_rate + shift, log_rate_sd=spread)
    return learn(moved, prior)


def _exponent_weights(columns: Columns, prior: Prior, book: Prior) -> tuple[float, float, float]:
    """Average posterior of the exponents, with CURVE_COUNTS systems of the book's mixed in."""
    found = _learn_under(columns, prior, book).weights.sum(axis=(0, 1))
    mixed = found + CURVE_COUNTS * np.array(book.exponent_weights)
    first, second, third = (float(weight) for weight in mixed / mixed.sum())
    return first, second, third


def _dip_error_belief(book: Prior, pairs: int, repeat_error: float) -> tuple[float, float]:
    """Centre and log-sd of the belief in the dip error, given repeat dips."""
    if not pairs:
        return book.dip_error, DIP_ERROR_SD
    told = 2.0 * pairs
    kept = 1.0 / DIP_ERROR_SD**2
    centre = (told * math.log(repeat_error) + kept * math.log(book.dip_error)) / (told + kept)
    return math.exp(centre), 1.0 / math.sqrt(told + kept)


def repeat_dip_error(systems: Sequence[SystemFacts]) -> tuple[int, float]:
    """Pairs of repeat dips, and their error as a multiple of the usual one.

    Readings of one compartment on one day differ by the reading error alone: its sd is
    DIP_VOLUME_ERROR of the volume. 1.0 when there is no pair; faulty systems must not be given.
    """
    squares: list[float] = []
    for facts in systems:
        visits: dict[tuple[date, bool, int], list[float]] = {}
        for dip in facts.dips:
            if feeds_the_rate(facts.kind, dip):
                visit = (dip.on, dip.after_emptying, dip.compartment)
                visits.setdefault(visit, []).append(dip_litres(facts, dip))
        scale = DIP_VOLUME_ERROR * facts.tank.volume_litres
        for readings in visits.values():
            squares += _squares(readings, scale)
    if not squares:
        return 0, 1.0
    return len(squares), math.sqrt(max(sum(squares) / len(squares), 1e-4))


def _squares(readings: list[float], scale: float) -> list[float]:
    """Scaled variance of repeat readings, once for each degree of freedom."""
    free = len(readings) - 1
    if not free:
        return []
    mean = sum(readings) / len(readings)
    return [sum(((one - mean) / scale) ** 2 for one in readings) / free] * free


def in_words(prior: Prior, book: Prior, systems: int, dips: int) -> str:
    """What was learned, for the manager."""
    change = prior.median_rate / book.median_rate - 1.0
    than = f"{abs(change):.0%} {'more' if change > 0 else 'less'} than the book's"
    if abs(change) < 0.03:
        than = "the same as the book's"
    slope = sum(b * w for b, w in zip(EXPONENTS, prior.exponent_weights, strict=True))
    curve = "nearly in a straight line" if slope > 0.93 else "more slowly as it settles"
    return (
        f"{dips} measurements of {systems} systems: a person here leaves about "
        f"{prior.median_rate:.0f} L in the first year, {than} {book.median_rate:.0f} L. "
        f"Two homes in three lie within a factor of {math.exp(prior.log_sd):.1f}. "
        f"Sludge builds up {curve}. A measurement is wrong by about "
        f"{prior.dip_error:.1f} times the usual error."
    )
