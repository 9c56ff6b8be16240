from datetime import date

import numpy as np
import pytest

from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.dip_value import dip_values
from servicing.forecasting.facts import Ceiling, Emptying, Trigger
from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.learning import learn
from servicing.forecasting.money import cheapest_risk, price_of_risk
from servicing.forecasting.normal import normal_cdf
from servicing.forecasting.removal_date import first_passage
from servicing.forecasting.risk_in_money import (
    cheapest_use,
    least_yearly_cost,
    year_over_cost,
)
from tests.servicing.forecasting.known import system

COLUMNS = columns_of([row_of(system(), BOOK_PRIOR), row_of(system(persons=1.0), BOOK_PRIOR)])
POSTERIOR = learn(COLUMNS)
PASSAGE = first_passage(COLUMNS, POSTERIOR)
START = POSTERIOR.cycle_start


def dense_cost(place, emptying, over):
    """Years and yearly cost on a fine even grid, added up by the trapezium rule."""
    years = np.linspace(0.02, 40, 20_000)
    chance = PASSAGE.probability(START[:, None] + years)[place]
    area = np.concatenate([[0], np.cumsum((chance[1:] + chance[:-1]) / 2 * np.diff(years))])
    return years, (emptying + over * area) / years


@pytest.mark.parametrize("over", [300.0, 1000.0, 5000.0])
@pytest.mark.parametrize("place", [0, 1])
def test_the_cheapest_date_is_the_lowest_point_of_a_dense_search(over, place):
    years, cost = dense_cost(place, 200.0, over)
    found = (cheapest_use(PASSAGE, START, 200.0, over) - START)[place]
    assert np.interp(found, years, cost) == pytest.approx(cost.min(), rel=0.002)


def test_the_cost_that_an_accepted_risk_stands_for_makes_it_the_cheapest():
    risk = np.array([0.10, 0.25])
    over = year_over_cost(PASSAGE, START, 200.0, risk)
    again = cheapest_use(PASSAGE, START, 200.0, over)
    assert PASSAGE.probability(again[:, None])[:, 0] == pytest.approx(risk, abs=0.01)
    assert over[0] > over[1]


def test_least_cost_agrees_with_the_dense_search_from_the_start():
    never = np.full(2, np.inf)
    cost, _ = least_yearly_cost(
        PASSAGE, START, START, latest=never, emptying_cost=200.0, year_over_cost=1000.0
    )
    assert cost[0] == pytest.approx(dense_cost(0, 200.0, 1000.0)[1].min(), rel=0.01)


def test_dearer_trouble_is_never_later():
    dates = [cheapest_use(PASSAGE, START, 200.0, over)[0] for over in (100, 500, 2500, 12500)]
    assert dates == sorted(dates, reverse=True)


@pytest.mark.parametrize("cost", [0.0, -5.0, float("nan")])
def test_an_impossible_cost_is_named(cost):
    with pytest.raises(BadMeasure, match="emptying_cost"):
        cheapest_use(PASSAGE, START, cost, 100.0)
    with pytest.raises(BadMeasure, match="year_over_cost"):
        cheapest_use(PASSAGE, START, 100.0, cost)
    with pytest.raises(BadMeasure, match="dip_cost"):
        values([system()], dip_cost=cost)


def test_risk_never_reached_has_no_price():
    columns = columns_of([row_of(system(persons=0), BOOK_PRIOR)])
    posterior = learn(columns)
    passage = first_passage(columns, posterior)
    assert np.isnan(year_over_cost(passage, posterior.cycle_start, 200.0, np.array([0.5])))
    assert np.isinf(cheapest_use(passage, posterior.cycle_start, 200.0, 1e-6))
    assert normal_cdf(passage.scores).max() < 1e-6


def values(systems, dip_cost=30.0):
    return dip_values(
        systems, today=date(2023, 6, 1), dip_cost=dip_cost, emptying_cost=200.0,
        year_over_cost=1500.0,
    )  # fmt: skip


def named(reference, *dips, **more):
    facts = system(*dips, **more)
    return type(facts)(**{
        name: getattr(facts, name) for name in facts.__slots__ if name != "reference"
    }, reference=reference)  # fmt: skip


def test_a_dip_is_worth_most_where_least_is_known_and_something_can_be_gained():
    never = named("never measured", persons=1.0)
    lately = named("measured lately", (date(2023, 5, 1), 400), persons=1.0)
    overdue = named("overdue", persons=6.0)
    found = {value.reference: value for value in values([overdue, lately, never])}
    assert found["never measured"].worth > found["measured lately"].worth
    assert found["never measured"].worth > found["overdue"].worth
    assert next(iter(found)) == "never measured"


def test_a_dip_narrows_the_likely_range_and_costs_what_it_costs():
    (value,) = values([system()])
    assert value.range_days_after < value.range_days
    assert value.worth == pytest.approx(value.saves - 30.0)
    assert value.saves >= 0


def test_a_tank_just_emptied_is_hardly_worth_measuring():
    fresh = named("fresh", emptyings=(Emptying(date(2023, 5, 25)),))
    (value,) = values([fresh])
    assert value.range_days_after > 0.9 * value.range_days
    assert value.worth < 0


def test_a_faulty_system_is_left_out():
    assert values([system((date(2030, 1, 1), 5))]) == ()


def test_risk_and_price_say_the_same_both_ways():
    systems = [system(persons=persons, accepted_risk=0.10) for persons in (1.0, 2.0, 3.0, 4.0)]
    today = date(2022, 6, 1)
    price = price_of_risk(systems, today=today, emptying_cost=200.0)
    risk = cheapest_risk(systems, today=today, emptying_cost=200.0, year_over_price=price)
    assert risk == pytest.approx(0.10, abs=0.03)
    assert price > 200.0


def test_systems_that_cannot_be_forecast_have_no_price():
    faulty = [system((date(2030, 1, 1), 5))]
    today = date(2022, 6, 1)
    assert price_of_risk(faulty, today=today, emptying_cost=200.0) is None
    assert price_of_risk([system(persons=0)], today=today, emptying_cost=200.0) is None
    assert cheapest_risk(faulty, today=today, emptying_cost=200.0, year_over_price=9.0) is None


def test_a_system_whose_trigger_cannot_be_used_is_left_out():
    assert values([system(trigger=Trigger(share=2.0))]) == ()


def test_a_dip_is_worth_nothing_where_a_ceiling_decides_anyway():
    free = named("free", persons=1.0)
    bound = named("bound", persons=1.0, ceilings=(Ceiling(45, "law"),))
    found = {value.reference: value.saves for value in values([free, bound])}
    assert found["free"] > 20
    assert found["bound"] < 0.2 * found["free"]
