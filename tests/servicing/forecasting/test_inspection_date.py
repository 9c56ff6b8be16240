from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from servicing.forecasting.chambers import (
    Cause,
    ChamberFacts,
    Look,
    QuietPeriod,
    winter_quiet_periods,
)
from servicing.forecasting.inspection_date import (
    HAZARDS,
    ChamberPrior,
    before_quiet,
    forecast_inspections,
    hazard_weights,
)

TODAY = date(2027, 3, 1)
NEW = ChamberFacts("C1", installed_on=date(2022, 3, 1))
YEARLY = [date(2022 + year, 3, 1) for year in range(1, 6)]


def looked(*grades, cause=None):
    looks = tuple(Look(day, grade, cause) for day, grade in zip(YEARLY, grades, strict=False))
    return replace(NEW, looks=looks)


def forecast(chamber, **more):
    (found,) = forecast_inspections([chamber], today=TODAY, **more)
    return found


def test_chance_of_trouble_at_the_due_date_is_the_accepted_risk():
    found = forecast(replace(looked(0, 0), max_months=120, accepted_risk=0.2))
    assert found.blocked_by_due == pytest.approx(0.2, abs=0.002)


def test_trouble_brings_the_next_look_nearer_and_clear_looks_put_it_off():
    clear, once, twice = (forecast(looked(*g)) for g in [(0, 0, 0), (0, 0, 3), (0, 3, 3)])
    assert twice.interval_days < once.interval_days < clear.interval_days
    assert clear.rate_per_year < once.rate_per_year < twice.rate_per_year


def test_some_debris_counts_less_than_flow_held_back():
    assert forecast(looked(0, 2)).interval_days < forecast(looked(0, 1)).interval_days


def test_the_longest_interval_is_never_passed():
    found = forecast(replace(looked(0, 0, 0, 0, 0), max_months=6, accepted_risk=0.9))
    assert found.due_on == date(2027, 9, 1)


def test_counts_agree_with_gamma_poisson_in_closed_form():
    # Clear looks over 4 years: Gamma(a, a/m) becomes Gamma(a, a/m + 4), mean a/(a/m + 4).
    prior = ChamberPrior(mean_rate=0.4, shape=2.0)
    weights = hazard_weights(looked(0, 0, 0, 0), prior)
    assert weights @ HAZARDS == pytest.approx(2.0 / (2.0 / 0.4 + 4.0), rel=0.01)


def test_a_found_blockage_agrees_with_dense_quadrature():
    # Independent: direct integration of gamma density times 1 - exp(-h) on a fine linear grid.
    prior = ChamberPrior(mean_rate=0.4, shape=2.0)
    h = np.linspace(1e-6, 20, 400_001)
    density = h * np.exp(-h / 0.2) * -np.expm1(-h)
    exact = (density * h).sum() / density.sum()
    assert hazard_weights(looked(3), prior) @ HAZARDS == pytest.approx(exact, rel=0.01)


def test_a_look_due_in_a_quiet_period_is_brought_forward_and_says_why():
    winter = winter_quiet_periods(2020, 2040)
    found = forecast(replace(looked(0, 0, 0, 0, 0), installed_on=None, looks=(
        Look(date(2026, 12, 20), 0),), max_months=12, accepted_risk=0.5), quiet=winter)  # fmt: skip
    assert found.due_on == date(2027, 11, 30)
    assert found.moved_from == date(2027, 12, 20)
    assert found.moved_because == "Christmas and the new year"


def test_a_day_before_one_quiet_period_may_lie_in_another():
    periods = [
        QuietPeriod(date(2027, 5, 3), date(2027, 5, 3), "early May"),
        QuietPeriod(date(2027, 5, 1), date(2027, 5, 2), "the weekend"),
    ]
    assert before_quiet(date(2027, 5, 3), periods) == (
        date(2027, 4, 30), "early May, the weekend",
    )  # fmt: skip


def test_no_due_date_ever_lies_in_winter():
    winter = winter_quiet_periods(2020, 2040)
    for shift in range(0, 365, 5):
        chamber = ChamberFacts("C", looks=(Look(TODAY - timedelta(days=shift), 0),))
        due = forecast(chamber, quiet=winter).due_on
        assert due.month not in {12, 1}


def test_the_owner_hears_what_was_found_most():
    found = forecast(looked(0, 1, 2, cause=Cause.WIPES))
    assert found.likely_cause is Cause.WIPES
    assert "bin" in found.advice


def test_two_looks_of_one_day_are_the_worse_of_the_two():
    both = replace(NEW, looks=(Look(YEARLY[0], 0), Look(YEARLY[0], 3)))
    assert forecast(both).rate_per_year == forecast(looked(3)).rate_per_year


@pytest.mark.parametrize(
    ("chamber", "field"),
    [
        (ChamberFacts("C"), "looks"),
        (replace(NEW, accepted_risk=0), "accepted_risk"),
        (replace(NEW, max_months=0), "max_months"),
        (replace(NEW, trouble_price=0), "trouble_price"),
        (replace(NEW, kind="well"), "kind"),
        (replace(NEW, installed_on=date(2030, 1, 1)), "installed_on"),
        (replace(NEW, looks=(Look(date(2028, 1, 1), 0),)), "looks[0].on"),
        (replace(NEW, looks=(Look(date(2021, 1, 1), 0),)), "looks[0].on"),
        (replace(NEW, looks=(Look(YEARLY[0], 7),)), "looks[0].grade"),
    ],
)
def test_every_fault_is_named_and_gives_no_date(chamber, field):
    found = forecast(chamber)
    assert found.faults[0].field == field
    assert found.due_on is None


def test_a_chamber_never_looked_into_says_so():
    assert [a.code for a in forecast(NEW).assumptions] == ["never_looked"]


def test_a_price_of_trouble_gives_the_interval_of_a_dense_search():
    # Independent: a steady rate of 0.5 a year, price 8: t minimises (1 + 8 (t - (1-e^-ht)/h)) / t.
    years = np.linspace(0.04, 3, 100_000)
    cost = (1 + 8 * (years - -np.expm1(-0.5 * years) / 0.5)) / years
    surely = ChamberPrior(mean_rate=0.5, shape=400.0)
    chamber = replace(NEW, trouble_price=8.0, max_months=60)
    found = forecast(chamber, fleet=surely).interval_days / 365.25
    assert found == pytest.approx(years[cost.argmin()], rel=0.03)


def test_dearer_trouble_is_looked_for_sooner():
    days = [
        forecast(replace(looked(0, 0, 2), trouble_price=price, max_months=60)).interval_days
        for price in (1.0, 5.0, 25.0)
    ]
    assert days == sorted(days, reverse=True)
    assert days[0] > days[2]
