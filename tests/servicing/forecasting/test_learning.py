"""The posterior against an independent sampler, and what must hold of any learning."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.facts import Emptying
from servicing.forecasting.learning import learn
from servicing.forecasting.levels import level_quantiles
from servicing.forecasting.rates import rate_quantiles
from servicing.forecasting.removal_date import first_passage
from tests.servicing.forecasting.known import EMPTIED, system

DRAWS = 400_000
CHANCES = (0.1, 0.5, 0.9)


def increment_sd(years):
    # The documented noise of the build-up, written out again: 20 % that forgets itself in half
    # a year, and a drift of 0.01 a year of which a third shows in the average.
    spans = years / 0.5
    return np.sqrt(0.04 * 2 / spans * (1 - (1 - np.exp(-spans)) / spans) + 0.01 * years / 3)


def sampled(dips, volume=2720.0, persons=3.0):
    """Draw households from the prior, let them fill and drift, weigh them by their dips."""
    random = np.random.default_rng(1995)
    log_rate = random.normal(np.log(85), 0.55, DRAWS)
    power = random.choice([0.7, 0.85, 1.0], DRAWS, p=[0.15, 0.7, 0.15])
    level = random.normal(0.05 * volume, 0.035 * volume, DRAWS)
    weight, before = np.zeros(DRAWS), 0.0
    # A household's dips are good or bad as a whole: two sizes of error, as documented.
    size = random.choice([0.7, 2.0], DRAWS, p=[0.6, 0.4])
    for years, litres in dips:
        gap = years - before
        if before:
            keep = np.exp(-0.01 / (2 * 0.55**2) * gap)
            spread = 0.55 * np.sqrt(1 - keep**2)
            log_rate = np.log(85) + keep * (log_rate - np.log(85)) + random.normal(0, spread, DRAWS)
        gained = np.exp(log_rate) * persons * (years**power - before**power)
        level = level + gained * (1 + increment_sd(gap) * random.normal(size=DRAWS))
        error = size * np.hypot(0.12 * level, 0.027 * volume)
        weight += -np.log(error) - 0.5 * ((litres - level) / error) ** 2
        before = years
    return log_rate, power, level, np.exp(weight - weight.max())


def weighted_quantiles(values, weight):
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) / weight.sum()
    return values[order][np.searchsorted(reached, CHANCES)]


CASES = [
    ((2.0, 600.0),),
    ((1.0, 420.0), (2.0, 640.0)),
    ((1.0, 150.0), (3.0, 380.0)),
]


@pytest.mark.parametrize("dips", CASES)
def test_posterior_agrees_with_an_independent_sampler(dips):
    days = [date.fromordinal(EMPTIED.toordinal() + round(365.25 * years)) for years, _ in dips]
    facts = system(*zip(days, (litres for _, litres in dips), strict=True))
    columns = columns_of([row_of(facts, BOOK_PRIOR)])
    posterior = learn(columns)
    log_rate, _, level, weight = sampled(dips)
    assert rate_quantiles(posterior)[0] == pytest.approx(
        np.exp(weighted_quantiles(log_rate, weight)), rel=0.035
    )
    # Two sizes of dip error are taken together as one normal on each node: that costs 3 %.
    assert level_quantiles(columns, posterior, posterior.time)[0] == pytest.approx(
        weighted_quantiles(level, weight), rel=0.03
    )


@pytest.mark.parametrize("dips", CASES)
def test_crossing_dates_agree_with_the_same_sampler(dips):
    # Each draw is given its own noise to every date, and counted where it is over the trigger.
    days = [date.fromordinal(EMPTIED.toordinal() + round(365.25 * years)) for years, _ in dips]
    facts = system(*zip(days, (litres for _, litres in dips), strict=True))
    columns = columns_of([row_of(facts, BOOK_PRIOR)])
    passage = first_passage(columns, learn(columns))
    log_rate, power, level, weight = sampled(dips)
    last, need = dips[-1][0], 2720 / 3 - level
    noise = np.random.default_rng(7).normal(size=DRAWS)
    weight = weight * (need > 0)
    for chance in CHANCES:
        gap = float(passage.quantile(np.array([chance]))[0] - passage.time[0])
        gained = np.exp(log_rate) * 3.0 * ((last + gap) ** power - last**power)
        over = gained * np.exp(increment_sd(gap) * noise) >= need
        assert (weight * over).sum() / weight.sum() == pytest.approx(chance, abs=0.02)


def test_no_dip_leaves_the_book_as_it_is():
    posterior = learn(columns_of([row_of(system(), BOOK_PRIOR)]))
    assert rate_quantiles(posterior)[0] == pytest.approx(
        85 * np.exp(np.array([-1.2816, 0, 1.2816]) * 0.55), rel=0.03
    )


def test_dips_narrow_what_is_possible():
    dips = [(date(2021, 1, 1), 390), (date(2022, 1, 1), 620), (date(2023, 1, 1), 800)]
    spreads = []
    for known in range(4):
        posterior = learn(columns_of([row_of(system(*dips[:known]), BOOK_PRIOR)]))
        low, _, high = rate_quantiles(posterior)[0]
        spreads.append(np.log(high / low))
    assert spreads == sorted(spreads, reverse=True)
    assert spreads[3] < 0.5 * spreads[0]


def test_dips_that_contradict_each_other_are_believed_less():
    # Both pairs end at 700 L after three years; the second says 900 L were there a year before.
    steady = [(date(2022, 1, 1), 530), (date(2023, 1, 1), 700)]
    wild = [(date(2022, 1, 1), 900), (date(2023, 1, 1), 700)]
    spreads = []
    for dips in (steady, wild):
        columns = columns_of([row_of(system(*dips), BOOK_PRIOR)])
        low, _, high = level_quantiles(columns, learn(columns), learn(columns).time)[0]
        spreads.append(high - low)
    assert spreads[1] > 1.25 * spreads[0]


def test_a_dip_error_without_doubt_is_one_size():
    columns = columns_of([row_of(system((date(2022, 1, 1), 530)), BOOK_PRIOR)])
    sure = learn(columns, replace(BOOK_PRIOR, dip_doubt=0.0))
    doubted = learn(columns, BOOK_PRIOR)
    assert sure.weights.shape == doubted.weights.shape == (1, 25, 3)
    assert sure.weights.sum() == pytest.approx(1) == doubted.weights.sum()


def test_a_worse_dip_error_teaches_less():
    columns = columns_of([row_of(system((date(2022, 1, 1), 850)), BOOK_PRIOR)])
    sure, unsure = (
        rate_quantiles(learn(columns, replace(BOOK_PRIOR, dip_error=error)))[0, 1]
        for error in (1.0, 2.0)
    )
    assert 85 < unsure < sure


def test_a_dip_soon_after_an_emptying_says_almost_nothing():
    # Informative only once what came in is well above the error: 3 x 0.027 V (own derivation).
    columns = columns_of([row_of(system((date(2020, 2, 1), 180)), BOOK_PRIOR)])
    low, _, high = rate_quantiles(learn(columns))[0]
    assert np.log(high / low) > 0.8 * 2 * 1.2816 * 0.55


def test_what_was_learned_fades_over_the_years():
    emptied = (Emptying(date(2000, 1, 1)), Emptying(date(2002, 1, 1)))
    late = (*emptied, Emptying(date(2040, 1, 1)))
    dip = (date(2001, 12, 31), 1000)
    soon, faded = (
        rate_quantiles(learn(columns_of([row_of(system(dip, emptyings=e), BOOK_PRIOR)])))[0, 1]
        for e in (emptied, late)
    )
    assert 85 < faded < soon


def test_likelihood_of_the_dips_adds_up_over_systems():
    rows = [row_of(system((date(2022, 1, 1), litres)), BOOK_PRIOR) for litres in (500, 700)]
    together = learn(columns_of(rows)).log_likelihood
    alone = [learn(columns_of([row])).log_likelihood[0] for row in rows]
    assert together == pytest.approx(alone)
