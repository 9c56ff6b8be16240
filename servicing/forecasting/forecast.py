"""The way in: what is known of many systems to what to expect of them, and when to go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt

from servicing.forecasting.accumulation import BOOK_PRIOR, Columns, Prior
from servicing.forecasting.checks import faults_of
from servicing.forecasting.columns import Row, columns_of, row_of
from servicing.forecasting.curves import curves_of
from servicing.forecasting.due_date import due_date
from servicing.forecasting.facts import SystemFacts
from servicing.forecasting.faults import BadMeasure, Fault, FaultyFacts
from servicing.forecasting.learning import Posterior, learn
from servicing.forecasting.levels import level_quantiles
from servicing.forecasting.outcomes import Forecasts, State, SystemForecast, blank_forecasts
from servicing.forecasting.questions import questions_of
from servicing.forecasting.rates import rate_quantiles
from servicing.forecasting.removal_date import Passage, first_passage
from servicing.forecasting.risk_in_money import cheapest_use
from servicing.forecasting.year_clock import days_of, years_of

Floats = npt.NDArray[np.float64]
BLOCK = 2048  # systems worked on at once: keeps every array in the processor's cache


def forecast_systems(
    systems: Sequence[SystemFacts],
    *,
    today: date,
    by: Sequence[date] = (),
    prior: Prior = BOOK_PRIOR,
    curve_points: int = 0,
) -> Forecasts:
    """Forecast many systems; a faulty one is reported in its place and hinders no other.

    ``today`` is the day the levels are for, ``by`` the days for P(over by), ``prior`` what the
    fleet is like, ``curve_points`` the points of each chart curve (0: none).
    """
    found = blank_forecasts([facts.reference for facts in systems], tuple(by))
    places: list[int] = []
    rows: list[Row] = []
    for place, facts in enumerate(systems):
        row, faults = _checked_row(facts, today, prior)
        found.faults[place] = faults
        if row is not None:
            places.append(place)
            rows.append(row)
    order = sorted(
        range(len(rows)), key=lambda i: (len(rows[i].events), len(rows[i].people.starts))
    )
    for first in range(0, len(order), BLOCK):
        chosen = order[first : first + BLOCK]
        block = [rows[i] for i in chosen]
        where = np.array([places[i] for i in chosen])
        _fill_in(found, _block_of(block, where, prior), today, curve_points)
    return found


def forecast_system(
    facts: SystemFacts,
    *,
    today: date,
    by: Sequence[date] = (),
    prior: Prior = BOOK_PRIOR,
    curve_points: int = 60,
) -> SystemForecast:
    """Forecast one system. Raises FaultyFacts, with every fault, if it cannot be."""
    found = forecast_systems([facts], today=today, by=by, prior=prior, curve_points=curve_points)
    if found.faults[0]:
        raise FaultyFacts(found.faults[0])
    return found.of(0)


def _checked_row(
    facts: SystemFacts, today: date, prior: Prior
) -> tuple[Row | None, tuple[Fault, ...]]:
    faults = faults_of(facts, today)
    if faults:
        return None, tuple(faults)
    try:
        return row_of(facts, prior), ()
    except BadMeasure as wrong:
        field = wrong.field if wrong.field == "trigger" else f"trigger.{wrong.field}"
        return None, (Fault(facts.reference, field, "out_of_range", str(wrong)),)


@dataclass(frozen=True, slots=True)
class _Block:
    """Systems worked on at once, and their places among all."""

    where: npt.NDArray[np.intp]
    rows: list[Row]
    columns: Columns
    posterior: Posterior
    passage: Passage

    @property
    def over(self) -> npt.NDArray[np.bool_]:
        """Whether the last dip of the cycle found the system over its trigger."""
        return np.asarray(self.posterior.last_dip >= self.columns.trigger)

    def use_on(self, day: date) -> Floats:
        years = np.full((len(self.rows), 1), years_of(day))
        return np.asarray(self.columns.clock.use(years)[:, 0])

    def over_by(self, day: date) -> Floats:
        chance = self.passage.probability(self.use_on(day)[:, None])[:, 0]
        return np.asarray(np.where(self.over, 1.0, chance))

    def wanted_use(self) -> Floats:
        """Years of use at which each is due, by accepted risk or, where it has a price, by cost."""
        facts = [row.facts for row in self.rows]
        by_risk = self.passage.quantile(np.array([known.accepted_risk for known in facts]))
        prices = np.array([known.year_over_price or np.nan for known in facts])
        priced = np.isfinite(prices)
        if not priced.any():
            return by_risk
        start = self.posterior.cycle_start
        by_cost = cheapest_use(self.passage, start, 1.0, np.where(priced, prices, 1.0))
        return np.asarray(np.where(priced, by_cost, by_risk))


def _block_of(rows: list[Row], where: npt.NDArray[np.intp], prior: Prior) -> _Block:
    columns = columns_of(rows)
    posterior = learn(columns, prior)
    return _Block(where, rows, columns, posterior, first_passage(columns, posterior))


def _fill_in(found: Forecasts, block: _Block, today: date, curve_points: int) -> None:
    _put_numbers(found, block, today)
    _put_dates(found, block)
    found.over_now[block.where] = block.over_by(today)
    for i, day in enumerate(found.by):
        found.over_by[block.where, i] = block.over_by(day)
    for i, place in enumerate(block.where):
        row = block.rows[i]
        found.since[place] = row.start
        found.assumptions[place] = tuple(dict.fromkeys(row.assumptions))
        found.questions[place] = questions_of(row, block.posterior.surprise[i])
    if curve_points:
        _put_curves(found, block, today, curve_points)


def _put_curves(found: Forecasts, block: _Block, today: date, points: int) -> None:
    untils = [
        _curve_end(found.due_on[place].item(), found.removal_p90[place].item(), today)
        for place in block.where
    ]
    starts = [row.filled_from for row in block.rows]
    curves = curves_of(block.columns, block.posterior, starts, untils, points)
    for place, curve in zip(block.where, curves, strict=True):
        found.curves[place] = curve


def _curve_end(due: date | None, late: date | None, today: date) -> date:
    """Where the chart ends: past today, the due date and, if not too far, the latest likely one."""
    dates = [today + timedelta(days=365)]
    if due is not None:
        dates.append(due + timedelta(days=180))
    if late is not None:
        dates.append(min(late, today + timedelta(days=365 * 6)))
    return max(dates)


def _put_numbers(found: Forecasts, block: _Block, today: date) -> None:
    where, columns, now = block.where, block.columns, block.use_on(today)
    levels = level_quantiles(columns, block.posterior, now)
    rates = rate_quantiles(block.posterior)
    for i, name in enumerate(("p10", "p50", "p90")):
        getattr(found, f"level_{name}")[where] = levels[:, i]
        getattr(found, f"rate_{name}")[where] = rates[:, i]
    found.persons_now[where] = columns.persons_at(now)
    found.working_volume[where] = columns.volume
    found.trigger_litres[where] = columns.trigger
    found.state[where] = np.where(block.over, State.OVER.value, State.FORECAST.value)


def _put_dates(found: Forecasts, block: _Block) -> None:
    where, rows, clock = block.where, block.rows, block.columns.clock
    chances = [np.full(len(rows), chance) for chance in (0.10, 0.50, 0.90)]
    likely = [block.passage.quantile(chance) for chance in chances]
    use = np.stack([*likely, block.wanted_use()], axis=1)
    looked = days_of(clock.years(block.posterior.time[:, None]))[:, 0]
    days = days_of(clock.years(use))
    days[block.over] = looked[block.over, None]
    found.removal_p10[where], found.removal_p50[where] = days[:, 0], days[:, 1]
    found.removal_p90[where] = days[:, 2]
    for i, row in enumerate(rows):
        found_over = looked[i].item() if block.over[i] else None
        due, rule = due_date(row.facts, row.start, days[i, 3].item(), found_over)
        found.due_on[where[i]] = np.datetime64("NaT") if due is None else np.datetime64(due)
        found.binding_rule[where[i]] = rule.value
