"""The best plans known of our own single days, from long runs of many seeds, kept in a file.

``python -m tests.benchmarks.routing_references --seconds 60 --seeds 5`` searches each day with
that many seeds, two processes a seed and so many processor seconds each, and writes the best
plan found beside the file's date and seeds. A stored plan that is still better stays. A plan is
kept as its driving orders: whoever reads it times it again and sends it through the checker.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from scheduler.routing.checker import check_plan
from scheduler.routing.moves import trimmed, visits_of
from scheduler.routing.plan import Effort, Plan, plan_rounds
from scheduler.routing.problem import Problem, places_of
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import LeftOut
from scheduler.routing.timing import Visit, time_round
from scheduler.routing.travel_times import StraightLine
from tests.benchmarks.routing_worlds import a_day

FILE = Path(__file__).with_name("routing_references.json")
REQUIRED_PENCE = 30_000  # what a required job left out counts when plans are compared
TANKERS = (3, 5, 8)
FIRST_SEED = 100


def the_day(tankers: int) -> Problem:
    """The day of sixty jobs for so many tankers."""
    return a_day(40 + tankers, tankers=tankers)


def full_pence(problem: Problem, plan: Plan) -> int:
    """Driving, missed values and 300 pounds for a required job left out."""
    missed = sum(problem.job(line.job).required for line in plan.left_out)
    return plan.objective_pence + REQUIRED_PENCE * missed


def stored() -> dict[str, Any]:
    """What the file holds, by number of tankers."""
    kept: dict[str, Any] = json.loads(FILE.read_text()) if FILE.exists() else {}
    return kept


def plan_from(problem: Problem, reference: dict[str, Any]) -> Plan:
    """The stored orders timed again, and every other job left out."""
    roads = Roads(StraightLine().table(places_of(problem)))
    rounds = []
    for order in reference["rounds"]:
        visits = trimmed([Visit(kind, name) for kind, name in order["visits"]])
        tanker = problem.tanker(order["tanker"])
        rounds.append(time_round(problem, roads, tanker, problem.start, visits))
    planned = {job for round_ in rounds for job in round_.job_ids}
    out = [job for job in problem.jobs if job.id not in planned]
    return Plan(
        rounds=tuple(rounds),
        left_out=tuple(LeftOut(job=job.id, rule="", why="") for job in out),
        missed_value_pence=sum(job.value_pence for job in out),
        checked=not check_plan(problem, roads.table, rounds),
    )


def made(tankers: int, seconds: float, seeds: int) -> dict[str, Any]:
    """The best of so many seeds, as it is stored."""
    problem = the_day(tankers)
    effort = Effort(seconds=seconds, processes=2, processor_time=True)
    tried = range(FIRST_SEED, FIRST_SEED + seeds)
    found = {seed: plan_rounds(problem, effort=replace(effort, seed=seed)) for seed in tried}
    pence = {seed: full_pence(problem, plan) for seed, plan in found.items()}
    best = min(pence, key=lambda seed: pence[seed])
    return {
        "made": datetime.now(tz=UTC).date().isoformat(),
        "processor_seconds_a_seed": 2 * seconds,
        "pence_by_seed": {str(seed): each for seed, each in pence.items()},
        "pence": pence[best],
        "rounds": [
            {"tanker": round_.tanker, "visits": [list(each) for each in visits_of(round_)]}
            for round_ in found[best].rounds
        ],
    }


def main() -> int:
    """Search every day and keep what is better than before."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--tankers", type=int, choices=TANKERS, help="one of the days only")
    options = parser.parse_args()
    for tankers in [options.tankers] if options.tankers else TANKERS:
        new = made(tankers, options.seconds, options.seeds)
        kept = stored()
        old = kept.get(str(tankers))
        print(tankers, new["pence_by_seed"], "stored:", old and old["pence"], flush=True)  # noqa: T201
        if old is None or new["pence"] < old["pence"]:
            kept[str(tankers)] = new
            FILE.write_text(json.dumps(kept, indent=1) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
