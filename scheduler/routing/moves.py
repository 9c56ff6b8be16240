"""Hand edits, checked at once: put a job on another tanker, day or place in the order."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduler.routing.checker import check_round
from scheduler.routing.driver_weeks import week_breaches
from scheduler.routing.problem import Problem
from scheduler.routing.roads import Roads
from scheduler.routing.rounds import Breach, LeftOut, Plan, Round
from scheduler.routing.timing import Visit, time_round
from scheduler.routing.tips import with_tips
from scheduler.routing.travel_times import TravelTable

MOST_PLACES_TIMED = 16


@dataclass(frozen=True, kw_only=True, slots=True)
class MoveCheck:
    """What a hand edit would do: the rounds it changes, what they would cost, what they break.

    An empty round in `rounds` means that the tanker would no longer go out that day.
    """

    job: str
    rounds: tuple[Round, ...]
    breaches: tuple[Breach, ...]
    cost_change_pence: int
    metres_change: int
    seconds_change: int

    @property
    def possible(self) -> bool:
        """Whether every rule is still kept."""
        return not self.breaches


@dataclass(frozen=True, kw_only=True, slots=True)
class RoundCheck:
    """A hand-made order as a timed round, and every rule it breaks."""

    round: Round
    breaches: tuple[Breach, ...]


def visits_of(round_: Round) -> tuple[Visit, ...]:
    """The driving order of a round without its base and breaks, last tip included."""
    return tuple(Visit(stop.kind, stop.id) for stop in round_.stops if stop.kind in {"job", "tip"})


def check_sequence(
    problem: Problem,
    *,
    table: TravelTable,
    tanker: str,
    on: date,
    job_ids: Sequence[str],
    roads: Roads | None = None,
) -> RoundCheck:
    """Time the jobs in the order given, adding tips where the tank would overfill."""
    roads = roads or Roads(table)
    driver = problem.tanker(tanker)
    visits = with_tips(problem, roads, driver, on, job_ids)
    timed = time_round(problem, roads, driver, on, visits)
    return RoundCheck(round=timed, breaches=tuple(check_round(problem, table, timed, roads.row)))


def check_move(
    problem: Problem,
    plan: Plan,
    *,
    table: TravelTable,
    job: str,
    to_tanker: str,
    on: date,
    position: int | None = None,
    roads: Roads | None = None,
    most_places: int = MOST_PLACES_TIMED,
) -> MoveCheck:
    """What moving or adding a job to a tanker's day would do.

    `position` counts jobs from 0; None takes the best place, looking at the `most_places`
    with the least detour. The plan itself is unchanged.
    """
    roads = roads or Roads(table)
    source = plan.round_of(job)
    target = _round_on(plan, to_tanker, on)
    before = [each for each in (source, target) if each is not None]
    stays = [each for each in (target.job_ids if target else ()) if each != job]
    orders = [[*stays[:place], job, *stays[place:]] for place in range(len(stays) + 1)]
    if position is not None:
        orders = [orders[min(max(position, 0), len(stays))]]
    else:
        orders = _nearest_orders(roads, problem, to_tanker, orders, job)[:most_places]
    checks = [
        check_sequence(problem, table=table, tanker=to_tanker, on=on, job_ids=order, roads=roads)
        for order in orders
    ]
    best = min(checks, key=lambda check: (len(check.breaches), check.round.costs.total))
    after, breaches = [best.round], list(best.breaches)
    if source is not None and source is not target:
        left = without_job(problem, source, table=table, job=job, roads=roads)
        after.append(left.round)
        breaches += left.breaches
        before = [source] if target is None else [source, target]
    elif target is not None:
        before = [target]
    breaches += _weeks_after(problem, plan, after)
    return _compared(job, before, after, breaches)


def _weeks_after(problem: Problem, plan: Plan, after: Sequence[Round]) -> list[Breach]:
    """Limits over a week or more that the drivers of the changed rounds would break."""
    changed = {(round_.tanker, round_.on) for round_ in after}
    stays = [each for each in plan.rounds if (each.tanker, each.on) not in changed]
    return week_breaches(problem, [*stays, *_driven(after)], {each.tanker for each in after})


def without_job(
    problem: Problem, round_: Round, *, table: TravelTable, job: str, roads: Roads
) -> RoundCheck:
    """The round without one of its jobs: its own tips or fresh ones, whichever is better."""
    kept = [visit for visit in visits_of(round_) if visit.id != job]
    driver = problem.tanker(round_.tanker)
    timed = time_round(problem, roads, driver, round_.on, trimmed(kept))
    own = RoundCheck(round=timed, breaches=tuple(check_round(problem, table, timed, roads.row)))
    ids = [each for each in round_.job_ids if each != job]
    fresh = check_sequence(
        problem, table=table, tanker=round_.tanker, on=round_.on, job_ids=ids, roads=roads
    )
    return min(own, fresh, key=lambda check: (len(check.breaches), check.round.costs.total))


def trimmed(visits: Sequence[Visit]) -> tuple[Visit, ...]:
    """The order without a last tip, which the timing chooses again."""
    visits = list(visits)
    while visits and visits[-1].kind == "tip":
        visits.pop()
    return tuple(visits)


def take_off(
    problem: Problem, plan: Plan, *, table: TravelTable, job: str, roads: Roads | None = None
) -> MoveCheck:
    """What taking a job off its round would do."""
    roads = roads or Roads(table)
    source = plan.round_of(job)
    if source is None:
        return _compared(job, [], [], [])
    left = without_job(problem, source, table=table, job=job, roads=roads)
    return _compared(job, [source], [left.round], list(left.breaches))


def apply_move(plan: Plan, check: MoveCheck, *, left_out: LeftOut | None = None) -> Plan:
    """The plan with the checked rounds in place of the old ones.

    The result is marked unchecked when the move breaks a rule. `left_out` names the job when
    it was taken off.
    """
    changed = {(round_.tanker, round_.on): round_ for round_ in check.rounds}
    kept = [each for each in plan.rounds if (each.tanker, each.on) not in changed]
    rounds = [*kept, *(round_ for round_ in changed.values() if round_.job_ids)]
    out = tuple(line for line in plan.left_out if line.job != check.job)
    return replace(
        plan,
        rounds=tuple(sorted(rounds, key=lambda each: (each.on, each.tanker))),
        left_out=out if left_out is None else (*out, left_out),
        checked=plan.checked and check.possible,
    )


def _round_on(plan: Plan, tanker: str, on: date) -> Round | None:
    return next((each for each in plan.rounds if (each.tanker, each.on) == (tanker, on)), None)


def _nearest_orders(
    roads: Roads, problem: Problem, tanker: str, orders: Sequence[list[str]], job: str
) -> list[list[str]]:
    """The orders with the least detour, by driving time between neighbours."""
    base = problem.tanker(tanker).base

    def detour(order: list[str]) -> int:
        place = order.index(job)
        before = order[place - 1] if place else base
        after = order[place + 1] if place + 1 < len(order) else base
        direct = roads.seconds(before, after)
        return roads.seconds(before, job) + roads.seconds(job, after) - direct

    return sorted(orders, key=detour)


def _compared(
    job: str, before: Sequence[Round], after: Sequence[Round], breaches: Sequence[Breach]
) -> MoveCheck:
    rounds = list(_driven(after))
    old = list(_driven(before))
    return MoveCheck(
        job=job,
        rounds=tuple(after),
        breaches=tuple(breaches),
        cost_change_pence=sum(r.costs.total for r in rounds) - sum(r.costs.total for r in old),
        metres_change=sum(r.metres for r in rounds) - sum(r.metres for r in old),
        seconds_change=sum(r.duty_seconds for r in rounds) - sum(r.duty_seconds for r in old),
    )


def _driven(rounds: Sequence[Round]) -> Iterator[Round]:
    return (round_ for round_ in rounds if round_.job_ids)
