"""Plans side by side: what a run proposes against what is accepted for the same days."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q
from django.utils.formats import date_format
from django.utils.timezone import localtime

from scheduler.models import Job, PlanRun, Round
from scheduler.round_plans import chance_over, forecast_of
from scheduler.round_sheets import Sheet, rounds_with_stops, sheets_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from django.db.models import QuerySet

MOST_OTHERS = 3


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
    late: int = 0
    late_days: int = 0
    over: float = 0.0
    tight: float = 0.0


def figures_of(sheets: Iterable[Sheet]) -> Figures:
    """Sums as people compare them."""
    rows = list(sheets)
    return Figures(
        **_risks(rows),
        rounds=len(rows),
        jobs=sum(len(sheet.jobs) for sheet in rows),
        km=sum(sheet.km for sheet in rows),
        hours=sum(sheet.hours for sheet in rows),
        tips=sum(sheet.tips for sheet in rows),
        litres=sum(sheet.litres for sheet in rows),
        pence=sum(sheet.planned.cost_pence for sheet in rows),
    )


def _risks(sheets: Iterable[Sheet]) -> dict[str, Any]:
    """What is late, found over its limit, or may not fit: sums over the jobs on these rounds.

    `late` counts jobs done after their due day and `late_days` those days; `over` is how many
    systems one must expect to find over their limit, `tight` how many loads will not fit.
    """
    planned = {(job, sheet.planned.day) for sheet in sheets for job in sheet.jobs}
    days = [max((day - job.due_on).days, 0) for job, day in planned]
    return {
        "late": sum(each > 0 for each in days),
        "late_days": sum(days),
        "over": sum(chance_over(forecast_of(job), day) or 0.0 for job, day in planned),
        "tight": sum(load["chance"] for sheet in sheets for load in sheet.planned.loads),
    }


def figures_kept(run: PlanRun) -> Figures:
    """Sums of all the rounds of a run, as written when it ended or was last changed by hand."""
    kept = run.figures
    rounds = rounds_with_stops(Round.objects.filter(run=run))
    return Figures(
        **_risks(sheets_of(rounds)),
        rounds=kept.get("rounds", 0),
        jobs=kept.get("jobs", 0),
        km=kept.get("metres", 0) / 1000,
        hours=kept.get("duty_seconds", 0) / 3600,
        tips=kept.get("tips", 0),
        litres=kept.get("litres", 0),
        pence=kept.get("pence", 0),
    )


@dataclass(frozen=True, kw_only=True)
class Compared:
    """One line of a comparison: what is accepted, or a plan with what it leaves out."""

    name: str
    figures: Figures
    run: PlanRun | None = None
    left_out: int | None = None


def plans_compared(run: PlanRun, *, left_out: int) -> list[Compared]:
    """The plan, what is accepted for its days, and the newest other plans of the same days."""
    lines = [Compared(name="This plan", figures=figures_kept(run), left_out=left_out)]
    accepted = in_force(run)
    if accepted is not None:
        lines.append(Compared(name="Accepted now", figures=accepted))
    for other in _other_plans(run):
        made = date_format(localtime(other.created_at), "j M H:i")
        lines.append(
            Compared(
                name=f"Plan of {made}",
                figures=figures_kept(other),
                run=other,
                left_out=len(other.left_out),
            )
        )
    return lines


def _other_plans(run: PlanRun) -> QuerySet[PlanRun]:
    """Other plans of the same days that still propose something."""
    others = PlanRun.objects.filter(
        organisation=run.organisation,
        first_day=run.first_day,
        days=run.days,
        rounds__accepted_at__isnull=True,
        rounds__isnull=False,
    ).exclude(pk=run.pk)
    return others.distinct().order_by("-created_at")[:MOST_OTHERS]


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


def rounds_nearby(planned: Round, today: dt.date) -> QuerySet[Round]:
    """Accepted rounds of the fortnight round a day, today's and later, other than this one."""
    span = max(planned.day - dt.timedelta(days=7), today), planned.day + dt.timedelta(days=7)
    rounds = Round.objects.filter(
        organisation=planned.organisation, accepted_at__isnull=False, day__range=span
    )
    return rounds.exclude(pk=planned.pk).select_related("tanker").order_by("day", "tanker__name")


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


def where_it_is(run: Any) -> str:
    """What became of a run fetched by `runs_with_outcome`, in words."""
    if run.problem.get("settled"):
        return "Settled"
    if run.accepted_count:
        return "Accepted in part" if run.proposed_count else "Accepted"
    if run.proposed_count or run.state not in (PlanRun.State.READY, PlanRun.State.STOPPED):
        return str(run.get_state_display())
    if not run.figures.get("rounds"):
        return "Nothing could be placed"
    return "Replaced, called off or thrown away"
