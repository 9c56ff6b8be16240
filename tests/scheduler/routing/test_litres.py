"""Uncertain litres by the laws of their distribution; large jobs in parts."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.routing.errors import BadQuantity
from scheduler.routing.litres import chance_fills_early, planned_litres
from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.problem import TankerStart
from scheduler.routing.splitting import parts_of, with_parts
from tests.scheduler.routing.problems import (
    HOUR,
    MONDAY,
    a_job,
    a_problem,
    a_round,
    a_tanker,
    planned_jobs,
)

means = st.floats(1, 20_000)


def test_a_certain_volume_is_planned_as_it_is():
    assert planned_litres(3000, 0) == 3000
    assert planned_litres(0, 500) == 0


@given(means, st.floats(0.01, 2), st.floats(0.05, 0.95), st.floats(0.05, 0.95))
def test_a_higher_quantile_never_plans_less(mean, spread, one, other):
    low, high = sorted((one, other))
    assert planned_litres(mean, mean * spread, low) <= planned_litres(mean, mean * spread, high)


@pytest.mark.parametrize("quantile", [0.5, 0.8, 0.95])
def test_the_quantile_is_the_share_of_volumes_below_it(quantile):
    """Checked by drawing 200,000 volumes with the reference library's log-normal."""
    mean, sd = 3000.0, 900.0
    sigma = np.sqrt(np.log1p((sd / mean) ** 2))
    drawn = np.random.default_rng(7).lognormal(np.log(mean) - sigma**2 / 2, sigma, 200_000)
    assert drawn.mean() == pytest.approx(mean, rel=0.01)
    assert np.mean(drawn <= planned_litres(mean, sd, quantile)) == pytest.approx(
        quantile, abs=0.005
    )


def test_no_more_is_planned_than_the_system_holds():
    assert planned_litres(3000, 2000, 0.95, most=3500) == 3500


@pytest.mark.parametrize(
    ("mean", "sd", "quantile"),
    [(1, 1, 0), (1, 1, 1), (-1, 0, 0.5), (1, -1, 0.5), (float("nan"), 0, 0.5)],
)
def test_impossible_litres_are_refused(mean, sd, quantile):
    with pytest.raises(BadQuantity):
        planned_litres(mean, sd, quantile)


def test_the_chance_that_a_trip_overfills_is_that_of_the_sum():
    jobs = [a_job(number, litres=2800, litres_sd=400) for number in (1, 2, 3)]
    problem = a_problem(*jobs)
    (trip,) = chance_fills_early(problem, a_round(problem, "job-1", "job-2", "job-3"))
    assert trip.litres == 8400
    assert trip.chance == pytest.approx(1 - NormalDist(8400, 400 * 3**0.5).cdf(9000))


def test_each_trip_has_its_own_chance_and_the_first_carries_what_is_on_board():
    start = TankerStart(
        tanker="tess", on=MONDAY, latitude=52, longitude=-3, at_seconds=8 * HOUR, load_litres=2000
    )
    problem = a_problem(*(a_job(number) for number in (1, 2, 3, 4)), starts=(start,))
    trips = chance_fills_early(problem, a_round(problem, "job-1", "job-2", "job-3", "job-4"))
    assert sum(len(trip.jobs) for trip in trips) == 4
    assert trips[0].litres == 2000 + 3000 * len(trips[0].jobs)
    assert {trip.chance for trip in trips} == {0.0}


def test_expected_litres_may_stand_in_for_planned_ones():
    problem = a_problem(a_job(1, litres=9000, litres_sd=100))
    (trip,) = chance_fills_early(problem, a_round(problem, "job-1"), means={"job-1": 8000.0})
    assert trip.chance < 1e-9


def test_a_large_job_is_cut_into_the_fewest_visits_that_hold_it_all():
    job = a_job(1, litres=20_001, value_pence=3000, may_split=True, litres_sd=300)
    parts = parts_of(job, [a_tanker()])
    assert [part.id for part in parts] == ["job-1#1", "job-1#2", "job-1#3"]
    assert sum(part.litres for part in parts) == 20_001
    assert all(part.litres <= 9000 for part in parts)
    assert sum(part.value_pence for part in parts) == 3000
    assert sum(part.litres_sd**2 for part in parts) == pytest.approx(300**2)


@pytest.mark.parametrize(
    "job",
    [
        a_job(1, litres=20_000),
        a_job(1, litres=9000, may_split=True),
        a_job(1, litres=900_000, may_split=True),
        a_job(1, litres=20_000, may_split=True, max_width_m=1.0),
    ],
)
def test_a_job_that_may_not_or_cannot_be_cut_stays_whole(job):
    assert parts_of(job, [a_tanker(width_m=2.5)]) == [job]


def test_all_parts_of_a_large_job_are_planned():
    problem = a_problem(a_job(1, litres=16_000, may_split=True), a_job(2))
    plan = plan_rounds(problem, effort=Effort(iterations=200))
    assert planned_jobs(plan) == {"job-1#1", "job-1#2", "job-2"}
    assert plan.checked
    assert with_parts(replace(problem, jobs=problem.jobs[1:])).jobs == problem.jobs[1:]
