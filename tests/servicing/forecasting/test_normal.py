from statistics import NormalDist

import numpy as np
import pytest

from servicing.forecasting.normal import normal_cdf, normal_cdf_fast, normal_quantile

SCORES = np.linspace(-5.5, 5.5, 401)
EXACT = np.array([NormalDist().cdf(score) for score in SCORES])


def test_normal_distribution_agrees_with_the_standard_library():
    assert np.abs(normal_cdf(SCORES) - EXACT).max() < 1e-7
    assert np.abs(normal_cdf_fast(SCORES.astype(np.float32)) - EXACT).max() < 2e-4


@pytest.mark.parametrize("chance", [1e-9, 1e-4, 0.02, 0.1, 0.5, 0.9, 0.99, 1 - 1e-6])
def test_normal_quantile_agrees_with_the_standard_library(chance):
    assert normal_quantile(chance) == pytest.approx(NormalDist().inv_cdf(chance), abs=1e-7)
