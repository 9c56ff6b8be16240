"""Plans become rows, rows become plans again."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from django.db.models import Prefetch
from django.utils.dateparse import parse_date
from django.utils.formats import date_format

from scheduler.models import Job, Round, Stop, Works
from scheduler.routing import rounds as routing
from scheduler.routing.round_costs import costs_of

from .clock import LocalClock
from .loads import load_rows
from .parts import part_number, planner_id, whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from django.db.models import QuerySet

    from scheduler.models import PlanRun, Tanker
    from scheduler.routing.problem import Problem
    from scheduler.routing.roads import Roads

    from .problem import Fleet

UUID = re.compile(
    r"(?P<id>[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})(?:#(?P<part>\d+))?"
)
ISO_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def names_of(fleet: Fleet, jobs: Iterable[Job]) -> dict[str, str]:
    """What people call each thing that the planner knows by its public id."""
    names = {str(works.public_id): works.name for works in fleet.works}
    for tanker in fleet.tankers:
        names[str(tanker.public_id)] = tanker.name
        names[str(tanker.base.public_id)] = tanker.base.name
    for job in jobs:
        names[str(job.public_id)] = f"{job.system.reference} ({job.system.premises})"
    return names


def spoken(sentence: str, names: Mapping[str, str]) -> str:
    """Sentence of the planner with names for ids and days as people write them."""

    def name(found: re.Match[str]) -> str:
        known = names.get(found["id"], found["id"])
        return f"{known}, visit {found['part']}" if found["part"] else known

    named = UUID.sub(name, sentence)
    return ISO_DAY.sub(_spoken_day, named)


def _spoken_day(found: re.Match[str]) -> str:
    day = parse_date(found.group())
    return date_format(day, "j M Y") if day else found.group()


def breach_rows(
    breaches: Iterable[routing.Breach], names: Mapping[str, str]
) -> list[dict[str, str]]:
    """Breaches for `Round.breaches`: rule, job and a sentence."""
    return [
        {"rule": each.rule, "job": whole(each.job), "why": spoken(each.why, names)}
        for each in breaches
    ]


def stop_rows(
    planned: routing.Round,
    *,
    round_: Round,
    fleet: Fleet,
    jobs: Mapping[str, Job],
    clock: LocalClock,
) -> list[Stop]:
    """Unsaved stops of one planned round in driving order."""
    works = {str(row.public_id): row for row in fleet.works}
    return [
        Stop(
            round=round_,
            position=position,
            kind=stop.kind,
            job=jobs[whole(stop.id)] if stop.kind == "job" else None,
            part=part_number(stop.id) if stop.kind == "job" else None,
            works=works[stop.id] if stop.kind == "tip" else None,
            arrive_at=clock.moment(planned.on, stop.arrive_seconds),
            start_at=clock.moment(planned.on, stop.start_seconds),
            depart_at=clock.moment(planned.on, stop.depart_seconds),
            metres=stop.metres,
            load_after_litres=stop.load_after_litres,
        )
        for position, stop in enumerate(planned.stops)
    ]


def fill_round(
    round_: Round,
    planned: routing.Round,
    *,
    problem: Problem,
    fleet: Fleet,
    jobs: Mapping[str, Job],
    clock: LocalClock,
    breaches: Sequence[dict[str, str]],
) -> None:
    """Write the times, figures and stops of a planned round onto its row, keeping locks."""
    locked = set(round_.stops.filter(locked=True).values_list("job_id", flat=True))
    round_.starts_at = clock.moment(planned.on, planned.start_seconds)
    round_.ends_at = clock.moment(planned.on, planned.end_seconds)
    round_.metres = planned.metres
    round_.cost_pence = money_spent(planned.costs)
    round_.breaches = list(breaches)
    round_.loads = load_rows(problem, planned, jobs)
    fields = ["starts_at", "ends_at", "metres", "cost_pence", "breaches", "loads", "changed_at"]
    round_.save(update_fields=fields)
    round_.stops.all().delete()
    stops = stop_rows(planned, round_=round_, fleet=fleet, jobs=jobs, clock=clock)
    for stop in stops:
        stop.locked = stop.job_id is not None and stop.job_id in locked
    Stop.objects.bulk_create(stops)


def new_round(run: PlanRun, tanker: Tanker, planned: routing.Round) -> Round:
    """Empty proposal of a run for one tanker's day."""
    return Round.objects.create(
        organisation=run.organisation, run=run, tanker=tanker, crew=tanker.crew, day=planned.on
    )


def read_round(row: Round, problem: Problem, roads: Roads, clock: LocalClock) -> routing.Round:
    """Stored round as the planner sees it; legs and costs as they would be today."""
    base = str(row.tanker.base.public_id)
    rows = list(row.stops.all())
    ids = _place_ids(rows, base)
    stops = tuple(
        routing.Stop(
            kind=routing_kind(stop.kind),
            id=place,
            arrive_seconds=clock.seconds(stop.arrive_at, row.day),
            start_seconds=clock.seconds(stop.start_at, row.day),
            depart_seconds=clock.seconds(stop.depart_at, row.day),
            load_after_litres=stop.load_after_litres,
            metres=stop.metres,
            drive_seconds=roads.seconds(before, place) if before else 0,
        )
        for stop, place, before in zip(rows, ids, ["", *ids], strict=False)
    )
    on_duty_from = stops[0].depart_seconds if stops else 0
    tanker = problem.tanker(str(row.tanker.public_id))
    duty = stops[-1].arrive_seconds - on_duty_from if stops else 0
    return routing.Round(
        tanker=tanker.id,
        on=row.day,
        stops=stops,
        costs=costs_of(problem, tanker, row.day, stops, duty),
        on_duty_from_seconds=on_duty_from,
    )


def with_stops(rounds: QuerySet[Round]) -> QuerySet[Round]:
    """Rounds with all that `read_round` reads."""
    stops = Stop.objects.select_related("job__system", "works").order_by("position")
    return rounds.select_related("tanker__base", "crew", "organisation").prefetch_related(
        Prefetch("stops", queryset=stops)
    )


def routing_kind(kind: str) -> routing.StopKind:
    """Kind of a stored stop in the planner's words, which are the same."""
    kinds: dict[str, routing.StopKind] = {
        "base": "base",
        "job": "job",
        "tip": "tip",
        "break": "break",
    }
    return kinds[kind]


def _place_ids(rows: Sequence[Stop], base: str) -> list[str]:
    """Place of each stop. A break is taken where the tanker stands or where it drives to."""
    ids = [_place_id(stop, base) for stop in rows]
    for number, stop in enumerate(rows):
        if stop.kind == Stop.Kind.BREAK:
            ahead = (ids[n] for n in range(number, len(rows)) if rows[n].kind != Stop.Kind.BREAK)
            ids[number] = next(ahead, base) if stop.metres else ids[number - 1]
    return ids


def _place_id(stop: Stop, base: str) -> str:
    if stop.job is not None:
        return planner_id(stop)
    return str(stop.works.public_id) if isinstance(stop.works, Works) else base


def money_spent(costs: routing.Costs) -> int:
    """Pence that driving costs; what being late or early is held to cost is no money spent."""
    return costs.total - costs.late


def figures_of(plan: routing.Plan) -> dict[str, Any]:
    """Sums of a plan for the record and for comparing."""
    costs = plan.costs
    return {
        "rounds": len(plan.rounds),
        "jobs": len({whole(job) for each in plan.rounds for job in each.job_ids}),
        "metres": plan.metres,
        "duty_seconds": sum(each.duty_seconds for each in plan.rounds),
        "drive_seconds": sum(each.drive_seconds for each in plan.rounds),
        "tips": sum(each.tips for each in plan.rounds),
        "litres": sum(each.litres for each in plan.rounds),
        "pence": money_spent(costs),
        "tipping_pence": costs.tipping,
        "left_out": len({whole(line.job) for line in plan.left_out}),
        "travel": plan.travel_source,
    }
