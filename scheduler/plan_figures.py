"""Plans side by side: what a run proposes against what is accepted for the same days."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q

from scheduler.models import Job, PlanRun, Round
from scheduler.round_sheets import Sheet, rounds_with_stops, sheets_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from django.db.models import QuerySet


@dataclass(frozen=True, kw_only=True)
class Figures:
    """Sums of several rounds."""

    rounds: int
    jobs: int
    km: float
    hours: float
    tips: int
    litres: int
    pence: int


def figures_of(sheets: Iterable[Sheet]) -> Figures:
    """Sums as people compare them."""
    rows = list(sheets)
    return Figures(
        rounds=len(rows),
        jobs=sum(len(sheet.jobs) for sheet in rows),
        km=sum(sheet.km for sheet in rows),
        hours=sum(sheet.hours for sheet in rows),
        tips=sum(sheet.tips for sheet in rows),
        litres=sum(sheet.litres for sheet in rows),
        pence=sum(sheet.planned.cost_pence for sheet in rows),
    )


def figures_kept(run: PlanRun) -> Figures:
    """Sums of all the rounds of a run, as written when it ended or was last changed by hand."""
    kept = run.figures
    return Figures(
        rounds=kept.get("rounds", 0),
        jobs=kept.get("jobs", 0),
        km=kept.get("metres", 0) / 1000,
        hours=kept.get("duty_seconds", 0) / 3600,
        tips=kept.get("tips", 0),
        litres=kept.get("litres", 0),
        pence=kept.get("pence", 0),
    )


def proposals_of(run: PlanRun) -> QuerySet[Round]:
    """Rounds of a run that nobody has accepted yet."""
    return Round.objects.filter(run=run, accepted_at__isnull=True)


def days_proposed(run: PlanRun) -> list[dt.date]:
    """Days for which the run still proposes something."""
    return list(proposals_of(run).order_by("day").values_list("day", flat=True).distinct())


def accepted_from(run: PlanRun) -> QuerySet[Round]:
    """Rounds of a run that were accepted, each with its number of jobs."""
    jobs = Count("stops", filter=Q(stops__job__isnull=False))
    accepted = Round.objects.filter(run=run, accepted_at__isnull=False)
    return accepted.annotate(job_count=jobs).select_related("tanker", "crew").order_by("day")


def in_force(run: PlanRun) -> Figures | None:
    """Sums of the accepted rounds of the same days and tankers; None where there are none."""
    last_day = run.first_day + dt.timedelta(days=run.days - 1)
    rounds = Round.objects.filter(
        organisation=run.organisation,
        accepted_at__isnull=False,
        day__range=(run.first_day, last_day),
        tanker__public_id__in=run.settings.get("tankers", ()),
    ).exclude(run=run)
    sheets = sheets_of(rounds_with_stops(rounds))
    return figures_of(sheets) if sheets else None


def jobs_named(run: PlanRun, lines: Iterable[Mapping[str, Any]]) -> dict[str, Job]:
    """Jobs that lines of a run name by public id, as far as they are still ours to show."""
    jobs = Job.objects.for_operator(run.organisation)
    jobs = jobs.filter(public_id__in=[line["job"] for line in lines])
    return {str(job.public_id): job for job in jobs.select_related("system__premises")}


def changes_of(run: PlanRun) -> list[tuple[Job | None, dict[str, Any]]]:
    """What the rest of a day planned anew changes: broken promises first."""
    rows = jobs_named(run, run.changes)
    lines = sorted(run.changes, key=lambda line: (not line["promise_broken"], line["kind"]))
    return [(rows.get(line["job"]), line) for line in lines]


def runs_with_outcome(runs: QuerySet[PlanRun]) -> QuerySet[PlanRun]:
    """Runs with how many of their rounds are accepted, and how many are still proposals."""
    proposed = Q(rounds__accepted_at__isnull=True, rounds__isnull=False)
    return runs.annotate(
        accepted_count=Count("rounds", filter=Q(rounds__accepted_at__isnull=False)),
        proposed_count=Count("rounds", filter=proposed),
    )
