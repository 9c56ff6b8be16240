"""Who wants ringing because messages did not help or cannot be sent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Q

from scheduler.messages.steps import TELEPHONE_AFTER_DAYS
from scheduler.messages.unsettled import MAY_BE_ASKED, unsettled_jobs

if TYPE_CHECKING:
    from datetime import date

    from customers.models import Organisation
    from scheduler.models import Job

# From the second offer on it is time to speak to somebody who cannot be written to.
NEAR_DAYS = 30
MOST = 200


@dataclass(frozen=True, slots=True)
class Call:
    """A telephone call to make, and why."""

    job: Job
    why: str


def to_ring(organisation: Organisation, today: date) -> list[Call]:
    """Jobs that want a call, the longest due first, in one query; at most the first 200."""
    near = unsettled_jobs(organisation, today).filter(due_on__lte=today + timedelta(days=NEAR_DAYS))
    overdue = Q(due_on__lte=today - timedelta(days=TELEPHONE_AFTER_DAYS))
    wanted = near.filter(overdue | ~MAY_BE_ASKED).order_by("due_on", "pk")
    return [Call(job, _why(job, today)) for job in wanted[:MOST]]


def _why(job: Job, today: date) -> str:
    if job.due_on <= today - timedelta(days=TELEPHONE_AFTER_DAYS):
        return "Long overdue, and no day is settled."
    if not getattr(job, "reachable", False):
        return "No e-mail or postal address to write to."
    return "No agreement, and no consent to be written to about booking."
