"""The quick look for room: it never turns away what fits, and spares most of the timing."""

import pytest

from scheduler.routing import moves
from scheduler.routing.moves import check_move
from scheduler.routing.plan import Effort, plan_rounds
from scheduler.routing.roads import Roads
from scheduler.routing.room import seconds_short
from tests.scheduler.routing.problems import (
    MONDAY,
    a_job,
    a_problem,
    a_round,
    a_tanker,
    random_jobs,
    table_of,
)


@pytest.mark.parametrize("seed", range(8))
def test_whatever_a_move_finds_room_for_the_quick_look_lets_through(seed):
    jobs = random_jobs(seed, 26)
    problem = a_problem(*jobs, tankers=(a_tanker(break_seconds=1800), a_tanker(id="two")))
    roads = Roads(table_of(problem))
    plan = plan_rounds(problem, effort=Effort(iterations=30, seed=seed))
    assert plan.left_out
    for job in [problem.job(line.job) for line in plan.left_out]:
        for tanker in problem.tankers:
            check = check_move(
                problem, plan, table=roads.table, job=job.id, to_tanker=tanker.id, on=MONDAY
            )
            round_ = next((each for each in plan.rounds if each.tanker == tanker.id), None)
            short = seconds_short(problem, roads, job, tanker=tanker, on=MONDAY, round_=round_)
            assert short <= 0 or not check.possible


def test_a_full_day_is_seen_without_timing_it():
    jobs = [a_job(n) for n in range(1, 8)]
    tanker = a_tanker(shift_end_seconds=11 * 3600)
    problem = a_problem(*jobs, a_job(9), tankers=(tanker,))
    roads = Roads(table_of(problem))
    full = a_round(problem, *(job.id for job in jobs))
    assert seconds_short(problem, roads, problem.job("job-9"), tanker=tanker, on=MONDAY,
                         round_=full) > 0  # fmt: skip
    assert seconds_short(problem, roads, a_job(1), tanker=tanker, on=MONDAY, round_=None) <= 0


def test_explaining_a_full_plan_times_few_orders(monkeypatch):
    jobs = [a_job(n, latitude=52 + 0.003 * n) for n in range(1, 61)]
    problem = a_problem(*jobs, tankers=(a_tanker(shift_end_seconds=10 * 3600),))
    timed = []
    check = moves.check_sequence

    def counted(*args, **options):
        timed.append(1)
        return check(*args, **options)

    monkeypatch.setattr(moves, "check_sequence", counted)
    plan = plan_rounds(problem, effort=Effort(iterations=200))
    assert len(plan.left_out) > 50
    assert all(line.why for line in plan.left_out)
    assert len(timed) < 4 * len(plan.left_out)
