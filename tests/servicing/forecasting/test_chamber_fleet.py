from datetime import date, timedelta

import numpy as np
import pytest

from servicing.forecasting.chamber_fleet import learn_chambers
from servicing.forecasting.chambers import ChamberFacts, Look
from servicing.forecasting.inspection_date import USUAL_CHAMBERS, forecast_inspections

TODAY = date(2026, 6, 1)


def fleet(n, mean, shape, looks=4, seed=5):
    """Chambers whose trouble starts at Gamma-spread rates, looked into every year."""
    random = np.random.default_rng(seed)
    found = []
    for i in range(n):
        hazard = random.gamma(shape, mean / shape)
        days = [date(2020 + year, 5, 1) for year in range(1, looks + 1)]
        grades = np.where(random.random(looks) < 1 - np.exp(-hazard), 3, 0)
        seen = tuple(Look(day, int(grade)) for day, grade in zip(days, grades, strict=True))
        found.append(ChamberFacts(f"C{i}", date(2020, 5, 1), seen))
    return found


@pytest.mark.parametrize("mean", [0.05, 0.4])
def test_a_fleet_teaches_how_often_trouble_starts(mean):
    learned = learn_chambers(fleet(400, mean, 1.0), today=TODAY)
    assert learned.mean_rate == pytest.approx(mean, rel=0.25)
    assert learned.chambers == 400


def test_a_fleet_teaches_how_much_its_chambers_differ():
    unlike = learn_chambers(fleet(400, 0.4, 0.5, looks=5), today=TODAY)
    alike = learn_chambers(fleet(400, 0.4, 4.0, looks=5), today=TODAY)
    assert unlike.shape < 1.0 < alike.shape


def test_no_look_keeps_the_usual_and_faulty_chambers_teach_nothing():
    never = ChamberFacts("C", date(2020, 1, 1))
    faulty = ChamberFacts("C", date(2020, 1, 1), (Look(TODAY + timedelta(days=9), 3),))
    assert learn_chambers([never, faulty], today=TODAY) == USUAL_CHAMBERS["chamber"]


def test_filters_and_chambers_are_learned_apart():
    assert learn_chambers(fleet(30, 0.4, 1.0), today=TODAY, kind="filter").chambers == 0


def test_a_troubled_fleet_looks_sooner():
    new = ChamberFacts("N", date(2026, 1, 1), max_months=60)
    usual, troubled = (
        forecast_inspections([new], today=TODAY, fleet=prior)[0].interval_days
        for prior in (None, learn_chambers(fleet(200, 0.6, 1.0), today=TODAY))
    )
    assert troubled < usual
