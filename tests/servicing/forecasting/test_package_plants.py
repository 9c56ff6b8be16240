from datetime import date

import pytest

from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.package_plants import service_due


def test_service_follows_the_makers_interval_from_the_last_one():
    assert service_due(date(2025, 5, 31), date(2020, 1, 1), 6) == date(2025, 11, 30)


def test_a_plant_never_serviced_counts_from_its_installation():
    assert service_due(None, date(2025, 3, 1)) == date(2026, 3, 1)


@pytest.mark.parametrize("months", [0, -6, float("nan"), 500])
def test_an_absurd_interval_is_named(months):
    with pytest.raises(BadMeasure, match="months"):
        service_due(date(2025, 1, 1), None, months)


def test_a_plant_without_any_date_is_named():
    with pytest.raises(BadMeasure, match="nothing to count from"):
        service_due(None, None)
