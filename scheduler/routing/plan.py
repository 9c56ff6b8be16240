"""Planning rounds: from a problem to a plan in which every line can be driven."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from scheduler.routing.checker import check_plan
from scheduler.routing.days import Days
from scheduler.routing.left_out import explained, screened
from scheduler.routing.moves import visits_of
from scheduler.routing.problem import Job, Problem, places_of
from scheduler.routing.repair import passing_rounds, paying_rounds, put_back, within_weeks
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Breach, Costs, LeftOut, Plan, Round, Stop
from scheduler.routing.search import Effort, Progress, Watch
from scheduler.routing.solver import Order
from scheduler.routing.splitting import with_parts
from scheduler.routing.tanker_days import tanker_days
from scheduler.routing.travel_times import Place, StraightLine, TravelTable, TravelTimes

__all__ = [
    "Breach",
    "Costs",
    "Effort",
    "LeftOut",
    "Plan",
    "Progress",
    "Round",
    "Stop",
    "plan_rounds",
    "table_for",
]

FIVE_SECONDS = Effort(seconds=5.0)


def plan_rounds(
    problem: Problem,
    *,
    travel: TravelTimes | None = None,
    effort: Effort = FIVE_SECONDS,
    keep: Plan | None = None,
    progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan:
    """Plan the days of a problem; every job is in exactly one round or left out with a reason.

    A job too large for its tankers that may be cut is planned in parts, `id#1`, `id#2`, …

    Args:
        problem: who may drive, where they tip and what is to be done.
        travel: where distances and times come from; the straight-line estimate by default.
        effort: how long to look, and with which seed.
        keep: a plan to start from, so that little moves.
        progress: told now and then how far the search is.
        should_stop: asked all the time; the best plan so far is returned when it says so.

    Raises:
        ProblemError: the travel matrix cannot be used.
    """
    problem = with_parts(problem)
    possible, left_out = screened(problem)
    table = table_for(problem, travel or StraightLine(), possible)
    roads = Roads(table)
    watch = Watch(progress=progress, should_stop=should_stop)
    warm = orders_of(problem, roads, keep)
    orders = Days(problem, roads, possible, watch).plan(effort, warm) if possible else []
    return finished(problem, roads, orders, possible, left_out)


def table_for(problem: Problem, travel: TravelTimes, jobs: Iterable[Job]) -> TravelTable:
    """The travel table of a problem's places, without the jobs that cannot be planned."""
    wanted = {job.id for job in jobs}
    out = {job.id for job in problem.jobs} - wanted
    whole = {job.id: job.part_of for job in problem.jobs if job.part_of}
    places = [place for place in places_of(problem) if place.id not in out]
    named = [Place(whole.get(place.id, place.id), *place[1:]) for place in places]
    once = list(dict.fromkeys(named))
    table = travel.table(once)
    if len(once) == len(places) and not whole:
        return table
    # The visits of one job that was cut up share its place.
    rows = np.array([once.index(place) for place in named], dtype=np.int64)
    return replace(
        table,
        ids=tuple(place.id for place in places),
        metres=table.metres[np.ix_(rows, rows)],
        seconds=table.seconds[np.ix_(rows, rows)],
    )


def orders_of(problem: Problem, roads: Roads, plan: Plan | None) -> list[Order]:
    """The driving orders of a plan, for the tanker-days that still exist."""
    if plan is None:
        return []
    days = {(day.tanker.id, day.on): day for day in tanker_days(problem, roads, problem.dates)}
    return [
        (days[round_.tanker, round_.on], visits_of(round_))
        for round_ in plan.rounds
        if (round_.tanker, round_.on) in days
    ]


def finished(
    problem: Problem,
    roads: Roads,
    orders: Sequence[Order],
    possible: Sequence[Job],
    left_out: Iterable[LeftOut],
) -> Plan:
    """Orders become checked rounds; whatever is in none is explained."""
    repaired = passing_rounds(problem, roads, [*orders, *_homeward(problem, roads, orders)])
    rounds = within_weeks(problem, roads, repaired.rounds, repaired.taken_off)
    rounds = paying_rounds(problem, rounds)
    plan = Plan(rounds=tuple(rounds), left_out=(), missed_value_pence=0)
    plan = put_back(problem, roads, plan, _missing(possible, plan))
    lines = [
        explained(problem, roads, plan, problem.job(job), repaired.taken_off)
        for job in _missing(possible, plan)
    ]
    lines = [*left_out, *lines]
    breaches = check_plan(problem, roads.table, plan.rounds)
    return replace(
        plan,
        rounds=tuple(sorted(plan.rounds, key=lambda each: (each.on, each.tanker))),
        left_out=tuple(lines),
        missed_value_pence=sum(problem.job(line.job).value_pence for line in lines),
        warnings=(*roads.table.warnings, *(breach.why for breach in breaches)),
        travel_source=roads.table.source,
        checked=not breaches,
    )


def _missing(possible: Iterable[Job], plan: Plan) -> list[str]:
    planned = {job for round_ in plan.rounds for job in round_.job_ids}
    return [job.id for job in possible if job.id not in planned]


def _homeward(problem: Problem, roads: Roads, orders: Iterable[Order]) -> list[Order]:
    """Tankers that are out and have nothing more to do still come home, by a works if loaded."""
    busy = {(day.tanker.id, day.on) for day, _ in orders}
    return [
        (day, ())
        for day in tanker_days(problem, roads, problem.dates)
        if (day.tanker.id, day.on) not in busy and problem.must_come_home(day.tanker.id, day.on)
    ]
