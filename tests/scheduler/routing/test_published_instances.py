"""The search against published multi-trip instances and their best-known values.

Source: Yang 2023, after Cattaruzza et al. 2016, as collected in PyVRP/Instances: 100 customers,
time windows, release times, reloads at the depot. The files stay outside the project: the
environment variable EBBMARK_BENCHMARKS says where, or a folder `shared/benchmarks` beside it.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from pyvrp import read

from scheduler.routing.search import Effort, best_of_starts, cost_of

ROOT = Path(__file__).resolve().parents[3]


def benchmarks() -> Path | None:
    named = os.environ.get("EBBMARK_BENCHMARKS")
    folder = Path(named) if named else ROOT.parent / "shared" / "benchmarks"
    return folder if folder.is_dir() else None


def best_known(path: Path) -> int:
    found = re.search(r"Cost:\s*(\d+)", path.with_suffix(".sol").read_text())
    assert found is not None
    return int(found.group(1))


@pytest.fixture
def instance():
    folder = benchmarks()
    if folder is None:
        pytest.skip("The published instances are not here: set EBBMARK_BENCHMARKS to their folder.")
    return folder / "C201R0.25.vrp"


def test_c201r025_is_within_one_percent_of_its_best_known_value(instance):
    solution = best_of_starts(read(instance, round_func="dimacs"), Effort(iterations=8000, seed=3))
    assert solution.is_feasible()
    assert best_known(instance) <= cost_of(solution) <= 1.01 * best_known(instance)
