from datetime import date

import pytest

from servicing.forecasting.due_date import BindingRule, due_date, months_after
from servicing.forecasting.facts import Ceiling, Override
from tests.servicing.forecasting.known import EMPTIED, system

RISKY, LATER = date(2022, 5, 1), date(2024, 1, 1)


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2023, 10, 31), 1, date(2023, 11, 30)),
        (date(2023, 12, 15), 1, date(2024, 1, 15)),
        (date(2023, 1, 1), 1.5, date(2023, 2, 16)),
    ],
)
def test_months_end_on_the_same_day_or_the_last(day, months, then):
    assert months_after(day, months) == then


def test_accepted_risk_binds_when_nothing_else_does():
    assert due_date(system(), EMPTIED, RISKY, None) == (RISKY, BindingRule.RISK)


@pytest.mark.parametrize(
    ("basis", "rule"),
    [
        ("law", BindingRule.CEILING_LAW),
        ("agreement", BindingRule.CEILING_AGREEMENT),
        ("manufacturer", BindingRule.CEILING_MANUFACTURER),
        ("insurer", BindingRule.CEILING_OTHER),
    ],
)
def test_a_forecast_never_goes_past_a_ceiling(basis, rule):
    facts = system(ceilings=(Ceiling(12, basis), Ceiling(60, "law")))
    assert due_date(facts, EMPTIED, LATER, None) == (date(2021, 1, 1), rule)
    assert due_date(facts, EMPTIED, None, None) == (date(2021, 1, 1), rule)


def test_a_dip_over_the_trigger_is_due_on_the_day_it_was_taken():
    found = due_date(system(), EMPTIED, LATER, date(2021, 6, 1))
    assert found == (date(2021, 6, 1), BindingRule.MEASURED_OVER)


def test_only_a_recorded_override_goes_past_the_ceiling():
    override = Override(date(2023, 3, 1), "stood empty for two years")
    facts = system(ceilings=(Ceiling(12, "law"),), override=override)
    assert due_date(facts, EMPTIED, RISKY, None) == (override.due_on, BindingRule.OVERRIDE)


def test_an_override_ends_with_the_next_emptying():
    facts = system(override=Override(date(2019, 3, 1), "ground too wet"))
    assert due_date(facts, EMPTIED, RISKY, None) == (RISKY, BindingRule.RISK)


def test_nothing_within_sixty_years_has_no_date():
    assert due_date(system(), EMPTIED, None, None) == (None, BindingRule.HORIZON)
