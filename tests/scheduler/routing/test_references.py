"""The best plans stored of our own days are plans: timed again, checked, and as dear as they say."""

import pytest

from tests.benchmarks.routing_references import TANKERS, full_pence, plan_from, stored, the_day


@pytest.mark.parametrize("tankers", TANKERS)
def test_a_stored_plan_passes_the_checker_and_costs_what_it_says(tankers):
    reference, problem = stored()[str(tankers)], the_day(tankers)
    plan = plan_from(problem, reference)
    assert plan.checked
    assert full_pence(problem, plan) == reference["pence"]
    assert reference["pence"] == min(reference["pence_by_seed"].values())
