"""Plans side by side: what a run proposes against what is accepted for the same days."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scheduler.models import PlanRun, Round
from scheduler.round_sheets import Sheet, rounds_with_stops, sheets_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


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


def proposals_of(run: PlanRun) -> list[Sheet]:
    """Sheets of the rounds of a run that nobody has accepted yet."""
    return sheets_of(rounds_with_stops(Round.objects.filter(run=run, accepted_at__isnull=True)))


def accepted_from(run: PlanRun) -> list[Sheet]:
    """Sheets of the rounds of a run that were accepted."""
    return sheets_of(rounds_with_stops(Round.objects.filter(run=run, accepted_at__isnull=False)))


def in_force(run: PlanRun, proposals: Sequence[Sheet]) -> list[Sheet]:
    """Sheets of accepted rounds that the proposals would replace, or stand beside."""
    last_day = run.first_day + dt.timedelta(days=run.days - 1)
    tankers = {sheet.planned.tanker_id for sheet in proposals}
    rounds = Round.objects.filter(
        organisation=run.organisation,
        accepted_at__isnull=False,
        day__range=(run.first_day, last_day),
        tanker__in=tankers,
    ).exclude(run=run)
    return sheets_of(rounds_with_stops(rounds))
