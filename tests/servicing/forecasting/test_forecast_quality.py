"""A small sitting of the quality report, so that no change spoils what was measured unseen.

The full figures are in tests/benchmarks/forecasting_results.md; bounds here leave room for the
small number of homes.
"""

from datetime import date

import pytest

from servicing.forecasting.fleet import learn_fleet
from tests.benchmarks.forecasting_scores import (
    baselines,
    columns_for,
    facts_of,
    point_crps,
    quantiles_for,
    score,
)
from tests.benchmarks.forecasting_worlds import FITS, WORLDS, one_cycle

SEED = 4711


@pytest.fixture(scope="module")
def cycle():
    return one_cycle(FITS, 1200, SEED)


@pytest.mark.parametrize(("dips", "error"), [(0, 0.46), (1, 0.33), (2, 0.26), (3, 0.22)])
def test_ranges_hold_and_dates_are_near_where_the_truth_fits(cycle, dips, error):
    found = score(cycle, dips, quantiles_for(columns_for(cycle, dips)))
    assert 0.76 < found.coverage < 0.86
    assert found.log_error < 1.08 * error
    assert abs(found.bias) < 0.06


@pytest.mark.parametrize("dips", [0, 2])
def test_forecasts_beat_every_rule_that_knows_no_doubt(cycle, dips):
    ours = score(cycle, dips, quantiles_for(columns_for(cycle, dips))).crps
    rules = baselines(cycle, dips).values()
    assert all(ours < 0.8 * point_crps(cycle, dips, dates) for dates in rules)


@pytest.mark.parametrize("world", WORLDS[1:], ids=lambda world: world.name)
def test_ranges_still_hold_in_worlds_the_model_does_not_know(world):
    fleet = facts_of(one_cycle(world, 150, SEED + 1, years=4), 2)
    prior = learn_fleet(fleet, today=date(2010, 1, 1)).prior
    truth = one_cycle(world, 600, SEED + 2)
    found = score(truth, 2, quantiles_for(columns_for(truth, 2, prior), prior))
    assert found.coverage > 0.70
