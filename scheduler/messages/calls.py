"""Who wants ringing because messages did not help or cannot be sent."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Case, CharField, Exists, OuterRef, Q, Subquery, Value, When

from customers.models import Agreement, ContactPreference, Party
from scheduler.messages.consent import MARKETING
from scheduler.messages.ladder import unsettled_jobs
from scheduler.messages.recipients import DECIDES, EMAIL, IS_THERE, POST
from scheduler.messages.steps import TELEPHONE_AFTER_DAYS

if TYPE_CHECKING:
    from datetime import date

    from django.db.models import QuerySet

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
    due = near.annotate(
        reachable=Exists(_people_there(today)),
        agreed=Exists(
            Agreement.objects.current(today).filter(premises=OuterRef("system__premises"))
        ),
        consenting=Exists(_people_there(today).filter(_said_yes())),
    ).order_by("due_on", "pk")
    overdue = Q(due_on__lte=today - timedelta(days=TELEPHONE_AFTER_DAYS))
    unwritable = Q(agreed=False, consenting=False)
    wanted = due.filter(overdue | Q(reachable=False) | unwritable)[:MOST]
    return [Call(job, _why(job, today)) for job in wanted]


def _why(job: Job, today: date) -> str:
    if job.due_on <= today - timedelta(days=TELEPHONE_AFTER_DAYS):
        return "Long overdue, and the messages had no answer."
    if not getattr(job, "reachable", False):
        return "No e-mail or postal address to write to."
    return "No agreement, and no consent to be written to about booking."


def _people_there(today: date) -> QuerySet[Party]:
    """People with a part in the premises of the job today, whom some address reaches."""
    written_to = (
        ~Q(person__email="")
        | ~Q(person__postal_address="")
        | ~Q(premises__address="")
        | ~Q(premises__town="")
        | ~Q(premises__postcode="")
    )
    return Party.objects.filter(
        Q(since__isnull=True) | Q(since__lte=today),
        Q(until__isnull=True) | Q(until__gte=today),
        written_to,
        premises=OuterRef("system__premises"),
        role__in=[*DECIDES, *IS_THERE],
    ).annotate(
        way=Case(
            When(person__email="", then=Value(str(POST))),
            default=Value(str(EMAIL)),
            output_field=CharField(),
        ),
        last_said=Subquery(
            ContactPreference.objects.filter(
                person=OuterRef("person"), channel=OuterRef("way"), message_class=MARKETING
            )
            .order_by("-recorded_at", "-pk")
            .values("allowed")[:1]
        ),
    )


def _said_yes() -> Q:
    return Q(last_said=True)
