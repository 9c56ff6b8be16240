"""What a timed round costs, in whole pence."""

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

from scheduler.routing.fleet import Tanker
from scheduler.routing.problem import Problem
from scheduler.routing.rounds import Costs, Stop


def costs_of(
    problem: Problem, tanker: Tanker, on: date, stops: Sequence[Stop], duty_seconds: int
) -> Costs:
    """Costs of one round: distance, duty, overtime, the day itself, tipping, chosen days.

    A round without jobs or tips costs nothing: the tanker stays at home.
    """
    if all(stop.kind == "base" for stop in stops):
        return Costs()
    metres = sum(stop.metres for stop in stops)
    overtime = max(duty_seconds - tanker.duty_seconds, 0)
    return Costs(
        distance=round(metres * tanker.pence_per_km / 1000),
        time=round(duty_seconds * tanker.pence_per_hour / 3600),
        overtime=round(overtime * tanker.overtime_pence_per_hour / 3600),
        fixed=tanker.fixed_pence_per_day,
        tipping=round(tipping_pence(problem, stops)),
        late=sum(
            problem.job(stop.id).day_pence(on) + problem.job(stop.id).move_cost(tanker.id, on)
            for stop in stops
            if stop.kind == "job"
        ),
    )


def tipping_pence(problem: Problem, stops: Sequence[Stop]) -> float:
    """Charges of every works visited, by visit and by volume."""
    pence = 0.0
    for before, stop in pairwise(stops):
        if stop.kind == "tip":
            works = problem.works_by_id(stop.id)
            pence += works.charge_pence_per_visit
            pence += before.load_after_litres / 1000 * works.charge_pence_per_m3
    return pence
