"""From the solver's driving orders to rounds that pass the checker.

An order the checker refuses loses the job that costs least to lose, until it passes. Jobs
so lost, and required jobs the solver left out, are then offered to every round again.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scheduler.routing.checker import check_round
from scheduler.routing.driver_weeks import week_breaches
from scheduler.routing.fleet import DAYS_A_WEEK
from scheduler.routing.model import prize_of
from scheduler.routing.moves import RoundCheck, check_move, trimmed, without_job
from scheduler.routing.problem import Job, Problem
from scheduler.routing.roads import Roads
from scheduler.routing.room import seconds_short
from scheduler.routing.rounds import Breach, Plan, Round
from scheduler.routing.search import UNITS_PER_PENNY
from scheduler.routing.solver import Order
from scheduler.routing.suitability import unsuitable_tanker, usable_windows
from scheduler.routing.timing import time_round

TANKER_DAYS_TRIED = 8
MOST_DAYS_LOOKED_AT = 40
MOST_JOBS_PUT_BACK = 60


@dataclass(slots=True)
class Repaired:
    """Rounds that pass, and for each job taken off the breach that took it."""

    rounds: list[Round]
    taken_off: dict[str, Breach]


def passing_rounds(problem: Problem, roads: Roads, orders: Iterable[Order]) -> Repaired:
    """Time every order and take jobs off until the checker passes each round."""
    rounds: list[Round] = []
    taken_off: dict[str, Breach] = {}
    for day, visits in orders:
        timed = time_round(problem, roads, day.tanker, day.on, trimmed(visits))
        passed = passing_round(problem, roads, timed, taken_off)
        if passed is not None:
            rounds.append(passed)
    return Repaired(rounds, taken_off)


def passing_round(
    problem: Problem, roads: Roads, round_: Round, taken_off: dict[str, Breach]
) -> Round | None:
    """The round less the jobs that have to go; None when nothing is left worth driving."""
    breaches = check_round(problem, roads.table, round_, roads.row)
    while breaches and round_.job_ids:
        job, check = _least_loss(problem, roads, round_, breaches)
        taken_off[job] = next((each for each in breaches if each.job == job), breaches[0])
        round_, breaches = check.round, list(check.breaches)
    must_drive = round_.job_ids or problem.must_come_home(round_.tanker, round_.on)
    return round_ if must_drive else None


def within_weeks(
    problem: Problem, roads: Roads, rounds: Iterable[Round], taken_off: dict[str, Breach]
) -> list[Round]:
    """The rounds less the jobs that take a driver over a limit of a week or more."""
    kept = {(round_.tanker, round_.on): round_ for round_ in rounds}
    while breach := next(iter(week_breaches(problem, kept.values())), None):
        week = breach.on - timedelta(days=breach.on.weekday()) if breach.on else problem.start
        mine = [
            (job, round_)
            for (tanker, on), round_ in sorted(kept.items())
            if tanker == breach.tanker and 0 <= (on - week).days < DAYS_A_WEEK
            for job in round_.job_ids
        ]
        if not mine:
            break
        job, round_ = min(mine, key=lambda each: (worth(problem.job(each[0])), each[0]))
        taken_off[job] = breach
        check = without_job(problem, round_, table=roads.table, job=job, roads=roads)
        shorter = passing_round(problem, roads, check.round, taken_off)
        kept.pop((round_.tanker, round_.on))
        if shorter is not None:
            kept[round_.tanker, round_.on] = shorter
    return list(kept.values())


def _least_loss(
    problem: Problem, roads: Roads, round_: Round, breaches: Sequence[Breach]
) -> tuple[str, RoundCheck]:
    """The job whose going leaves the fewest breaches, then the least worth keeping."""
    named = {breach.job for breach in breaches if breach.job} & set(round_.job_ids)
    everyone_fits = all(breach.job for breach in breaches)
    candidates = named if named and everyone_fits else set(round_.job_ids)
    checks = {
        job: without_job(problem, round_, table=roads.table, job=job, roads=roads)
        for job in sorted(candidates)
    }

    def loss(job: str) -> tuple[int, tuple[int, int], int]:
        return (len(checks[job].breaches), worth(problem.job(job)), checks[job].round.costs.total)

    chosen = min(checks, key=loss)
    return chosen, checks[chosen]


def worth(job: Job) -> tuple[int, int]:
    """Order of keeping: promises, then required jobs, then by value."""
    if not job.required:
        return (0, job.value_pence)
    return (2 if job.windows or job.locked_on else 1, job.value_pence)


def orders_pence(
    problem: Problem, roads: Roads, orders: Iterable[Order], jobs: Iterable[Job]
) -> float:
    """What driving these orders and leaving the other jobs out would cost, in pence."""
    rounds = passing_rounds(problem, roads, orders).rounds
    planned = {job for round_ in rounds for job in round_.job_ids}
    missed = sum(prize_of(job) for job in jobs if job.id not in planned)
    return sum(round_.costs.total for round_ in rounds) + missed / UNITS_PER_PENNY


def paying_rounds(problem: Problem, rounds: Iterable[Round]) -> list[Round]:
    """Without the rounds of optional jobs only that cost more than leaving them all would.

    The search takes jobs off one by one and cannot see that a whole day is not worth it.
    """
    kept = []
    for round_ in rounds:
        jobs = [problem.job(job) for job in round_.job_ids]
        must_go = any(job.required for job in jobs)
        must_go = must_go or problem.must_come_home(round_.tanker, round_.on)
        if must_go or round_.costs.total <= sum(job.value_pence for job in jobs):
            kept.append(round_)
    return kept


def put_back(problem: Problem, roads: Roads, plan: Plan, jobs: Iterable[str]) -> Plan:
    """Offer each job to the tanker-days it suits; the cheapest that passes takes it.

    A required job goes back wherever it can; an optional one only when it is worth more
    than it adds.
    """
    wanted = sorted(jobs, key=lambda job: worth(problem.job(job)), reverse=True)
    for job_id in wanted[:MOST_JOBS_PUT_BACK]:
        job = problem.job(job_id)
        best = None
        for tanker, on in days_with_room(problem, roads, plan, job)[:TANKER_DAYS_TRIED]:
            check = check_move(
                problem, plan, table=roads.table, job=job_id, to_tanker=tanker, on=on, roads=roads
            )
            worthwhile = job.required or check.cost_change_pence <= job.value_pence
            cheaper = best is None or check.cost_change_pence < best.cost_change_pence
            if check.possible and worthwhile and cheaper:
                best = check
        if best is not None:
            plan = _with_round(plan, best.rounds[0])
    return plan


def days_with_room(problem: Problem, roads: Roads, plan: Plan, job: Job) -> list[tuple[str, date]]:
    """Of the nearest tanker-days those that are not surely too full for the job."""
    by_day = {(round_.tanker, round_.on): round_ for round_ in plan.rounds}

    def short(tanker: str, on: date) -> int:
        driver, round_ = problem.tanker(tanker), by_day.get((tanker, on))
        return seconds_short(problem, roads, job, tanker=driver, on=on, round_=round_)

    near = likely_days(problem, roads, plan, job)[:MOST_DAYS_LOOKED_AT]
    return [each for each in near if short(*each) <= 0]


def likely_days(problem: Problem, roads: Roads, plan: Plan, job: Job) -> list[tuple[str, date]]:
    """Tanker-days that could take the job, nearest round first."""
    by_day = {(round_.tanker, round_.on): round_ for round_ in plan.rounds}
    row = roads.row[job.id]
    ranked = []
    for on in problem.dates:
        for tanker in problem.tankers:
            if unsuitable_tanker(job, tanker) or not usable_windows(problem, job, tanker, on):
                continue
            round_ = by_day.get((tanker.id, on))
            stops = [stop.id for stop in round_.stops] if round_ else [tanker.base]
            near = int(roads.table.seconds[row, [roads.row[stop] for stop in stops]].min())
            ranked.append((near + (0 if round_ else near), on, tanker.id))
    ranked.sort()
    return [(tanker, on) for _, on, tanker in ranked]


def _with_round(plan: Plan, round_: Round) -> Plan:
    kept = [each for each in plan.rounds if (each.tanker, each.on) != (round_.tanker, round_.on)]
    rounds = sorted([*kept, round_], key=lambda each: (each.on, each.tanker))
    return Plan(rounds=tuple(rounds), left_out=(), missed_value_pence=0)
