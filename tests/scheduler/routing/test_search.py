"""The search: begun anew when it has settled, never past its limit, never worse for it."""

import pytest

from scheduler.routing import search
from scheduler.routing.model import build_model
from scheduler.routing.roads import Roads
from scheduler.routing.search import Effort, Progress, Watch, best_of_starts, cost_of
from tests.scheduler.routing.problems import a_problem, a_tanker, random_jobs, table_of

PROBLEM = a_problem(*random_jobs(5, 40), tankers=(a_tanker(), a_tanker(id="two")))
DATA = build_model(PROBLEM, Roads(table_of(PROBLEM)), PROBLEM.jobs, PROBLEM.dates).data


@pytest.fixture
def descents(monkeypatch):
    """The costs that each single search came to."""
    costs: list[int] = []
    descended = search._descended

    def noted(*args, **options):
        found = descended(*args, **options)
        costs.append(cost_of(found))
        return found

    monkeypatch.setattr(search, "_descended", noted)
    return costs


def test_a_search_that_no_longer_gains_begins_anew_and_the_best_is_kept(monkeypatch, descents):
    monkeypatch.setattr(search, "ITERATIONS_WITHOUT_GAIN", 30)
    best = best_of_starts(DATA, Effort(iterations=600))
    assert len(descents) > 2
    assert cost_of(best) == min(descents)


def test_while_it_gains_it_goes_on(descents):
    best_of_starts(DATA, Effort(iterations=200))
    assert len(descents) == 1


def test_a_plan_to_start_from_is_improved_and_not_begun_anew(monkeypatch, descents):
    monkeypatch.setattr(search, "ITERATIONS_WITHOUT_GAIN", 10)
    first = best_of_starts(DATA, Effort(iterations=50))
    descents.clear()
    again = best_of_starts(DATA, Effort(iterations=100), initial=first)
    assert len(descents) == 1
    assert cost_of(again) <= cost_of(first)


def test_beginning_anew_does_not_stretch_the_limit(monkeypatch):
    monkeypatch.setattr(search, "ITERATIONS_WITHOUT_GAIN", 30)
    stop = search._Stop(Effort(iterations=100), Watch())
    stop.patience = 30
    asked = 0
    while not stop.spent:
        stop.begin()
        while not stop(5.0):
            asked += 1
    assert asked <= 100


def test_what_is_told_never_gets_worse(monkeypatch):
    monkeypatch.setattr(search, "ITERATIONS_WITHOUT_GAIN", 20)
    monkeypatch.setattr(search, "FEWEST_ITERATIONS_BETWEEN_REPORTS", 1)
    ticks = iter(range(10**6))
    monkeypatch.setattr(search.time, "monotonic", lambda: float(next(ticks)))
    told: list[Progress] = []
    best_of_starts(DATA, Effort(iterations=300), watch=Watch(progress=told.append))
    reached = [(-each.jobs_planned, each.cost_pence) for each in told]
    assert len(reached) > 50
    assert reached == sorted(reached, reverse=True)
