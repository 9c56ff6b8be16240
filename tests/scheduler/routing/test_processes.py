"""Searches on several cores: as good as the best seed, repeatable, stopped when told."""

import os
import subprocess
import sys
from dataclasses import replace

import pytest

from scheduler.routing import processes
from scheduler.routing.model import build_model
from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.roads import Roads
from scheduler.routing.search import Watch, best_of_starts, cost_of
from tests.scheduler.routing.problems import a_problem, a_tanker, random_jobs, table_of

PROBLEM = a_problem(*random_jobs(3, 30), tankers=(a_tanker(), a_tanker(id="two")))
MODEL = build_model(PROBLEM, Roads(table_of(PROBLEM)), PROBLEM.jobs, PROBLEM.dates)
TWO = Effort(iterations=60, seed=4, processes=2)


def test_two_processes_return_the_better_of_two_seeds():
    both = processes.search_on_cores(MODEL.data, TWO, initial=None, watch=Watch())
    alone = [
        best_of_starts(MODEL.data, replace(TWO, seed=seed, first_way=way, processes=1))
        for way, seed in enumerate((4, 4 + processes.SEEDS_APART))
    ]
    assert cost_of(both) == min(cost_of(each) for each in alone)


def test_a_plan_on_two_processes_is_repeatable():
    assert plan_rounds(PROBLEM, effort=TWO) == plan_rounds(PROBLEM, effort=TWO)


def test_another_process_begins_from_the_plan_in_force():
    good = best_of_starts(MODEL.data, Effort(iterations=800))
    again = processes.search_on_cores(
        MODEL.data, replace(TWO, iterations=1), initial=good, watch=Watch()
    )
    assert cost_of(again) <= cost_of(good)


def test_a_process_that_fails_is_left_out(monkeypatch):
    monkeypatch.setattr(sys, "executable", "/bin/false")
    both = processes.search_on_cores(MODEL.data, TWO, initial=None, watch=Watch())
    assert cost_of(both) == cost_of(best_of_starts(MODEL.data, replace(TWO, processes=1)))


def test_a_stopped_search_leaves_no_process_behind(monkeypatch):
    started: list[subprocess.Popen[bytes]] = []
    start = processes._started

    def start_and_note(task):
        started.append(start(task))
        return started[-1]

    monkeypatch.setattr(processes, "_started", start_and_note)
    effort = Effort(seconds=60, processes=2)
    watch = Watch(should_stop=lambda: True)
    processes.search_on_cores(MODEL.data, effort, initial=None, watch=watch)
    assert started[0].returncode is not None


@pytest.mark.parametrize("seconds", [0.2])
def test_a_process_that_overruns_is_left_out(monkeypatch, seconds):
    monkeypatch.setattr(processes, "GRACE_SECONDS", 0.0)
    effort = Effort(seconds=seconds, processes=2)
    assert processes.search_on_cores(MODEL.data, effort, initial=None, watch=Watch()).is_feasible()


def test_processor_seconds_may_be_counted_instead_of_the_wall_clock():
    effort = Effort(seconds=0.2, processes=2, processor_time=True)
    assert processes.search_on_cores(MODEL.data, effort, initial=None, watch=Watch()).is_feasible()


@pytest.mark.parametrize(
    ("effort", "left"),
    [
        (Effort(seconds=10), 4),
        (Effort(seconds=5), processes.LEAST_SECONDS),
        (Effort(seconds=10, processor_time=True), 10),
    ],
)
def test_the_time_a_process_takes_to_start_is_not_added_to_the_search(monkeypatch, effort, left):
    task = processes.Task(MODEL.data, effort, None, asked_at=1000.0)
    monkeypatch.setattr(processes.time, "time", lambda: 1006.0)
    assert task.effort_left.seconds == left


def test_iterations_are_never_cut():
    assert processes.Task(MODEL.data, Effort(iterations=9), None, asked_at=0.0).effort_left == (
        Effort(iterations=9)
    )


def test_a_search_whose_asker_has_died_ends_at_once():
    nobody = -1
    process = processes._started(
        processes.Task(MODEL.data, Effort(iterations=10**9), None, asked_by=nobody)
    )
    output, _ = process.communicate(timeout=120)
    assert process.returncode == 0
    assert output


def test_a_search_whose_asker_waits_goes_on():
    assert not processes.Task(
        MODEL.data, Effort(iterations=1), None, asked_by=os.getppid()
    ).is_orphan()
