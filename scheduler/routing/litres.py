"""Litres that are not certain: on what to plan, and the chance that a tanker fills early.

A forecast gives each job a mean and a standard deviation. Volumes cannot be negative and are
skewed, so a gamma-like reading is taken through the log-normal of the same two moments; the
sum of a trip is read as normal, which a sum of several such volumes is close to.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import NormalDist

from scheduler.routing.errors import BadQuantity
from scheduler.routing.problem import Problem
from scheduler.routing.rounds import Round


@dataclass(frozen=True, kw_only=True, slots=True)
class TripChance:
    """How likely a trip is to fill its tanker before its last job."""

    jobs: tuple[str, ...]
    litres: int
    capacity_litres: int
    chance: float


def planned_litres(
    mean: float, sd: float, quantile: float = 0.8, *, most: float | None = None
) -> int:
    """Litres to plan on, so that the real volume stays below them with that probability.

    Args:
        mean: expected litres.
        sd: standard deviation, litres; 0 for a volume that is certain.
        quantile: probability between 0 and 1, both excluded.
        most: what the system can hold at all, if known: never more is planned.

    Returns:
        The quantile of the log-normal with these moments, rounded up to a whole litre.
    """
    if not 0 < quantile < 1:
        message = f"The quantile must lie between 0 and 1, not {quantile}."
        raise BadQuantity(message, field="quantile")
    if mean < 0 or sd < 0 or not math.isfinite(mean + sd):
        message = "Mean and standard deviation must be zero or more."
        raise BadQuantity(message, field="litres")
    litres = mean
    if mean > 0 and sd > 0:
        log_variance = math.log1p((sd / mean) ** 2)
        centre = math.log(mean) - log_variance / 2
        litres = math.exp(NormalDist(centre, math.sqrt(log_variance)).inv_cdf(quantile))
    if most is not None:
        litres = min(litres, most)
    return math.ceil(litres - 1e-9)


def chance_fills_early(
    problem: Problem, round_: Round, *, means: dict[str, float] | None = None
) -> tuple[TripChance, ...]:
    """For each trip of a round, the chance that its jobs hold more than the tanker can take.

    Args:
        problem: holds each job's `litres` and `litres_sd` and the tanker's capacity.
        round_: the round as planned.
        means: expected litres by job where the plan was made on a higher quantile.
    """
    means = means or {}
    tanker = problem.tanker(round_.tanker)
    start = problem.start_of(round_.tanker, round_.on)
    on_board = 0 if start is None else start.load_litres
    chances = []
    for trip in trips_of(round_):
        jobs = [problem.job(job) for job in trip]
        mean = on_board + sum(means.get(job.id, float(job.litres)) for job in jobs)
        variance = sum(job.litres_sd**2 for job in jobs)
        chances.append(
            TripChance(
                jobs=trip,
                litres=on_board + sum(job.litres for job in jobs),
                capacity_litres=tanker.capacity_litres,
                chance=_above(tanker.capacity_litres, mean, variance),
            )
        )
        on_board = 0
    return tuple(chances)


def _above(capacity: float, mean: float, variance: float) -> float:
    if variance <= 0:
        return 1.0 if mean > capacity else 0.0
    return 1.0 - NormalDist(mean, math.sqrt(variance)).cdf(capacity)


def trips_of(round_: Round) -> Iterable[tuple[str, ...]]:
    """The jobs of each trip: what is on board between two tips."""
    trip: list[str] = []
    for stop in round_.stops:
        if stop.kind == "job":
            trip.append(stop.id)
        elif stop.kind == "tip" and trip:
            yield tuple(trip)
            trip = []
    if trip:
        yield tuple(trip)
