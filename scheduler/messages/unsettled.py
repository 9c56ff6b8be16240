"""Jobs an owner should settle a day for, and whether anybody there may be written to about it."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db.models import Case, CharField, Exists, OuterRef, Q, Subquery, Value, When

from customers.models import Agreement, ContactPreference, Party
from scheduler.messages.consent import MARKETING
from scheduler.messages.recipients import DECIDES, EMAIL, IS_THERE, POST
from scheduler.messages.timing import letter_first
from scheduler.models import Appointment, Call, Job

if TYPE_CHECKING:
    from datetime import date

    from django.db.models import QuerySet

    from customers.models import Organisation
    from scheduler.models.jobs import JobQuerySet

# Offers look this far ahead: the earliest first step an office may choose, and two months by
# which midwinter may bring it forward.
FURTHEST_DAYS = 120 + 62


def unsettled_jobs(organisation: Organisation, today: date) -> JobQuerySet:
    """Jobs without a day: wanted, due soon or overdue, nothing offered that stands.

    A job that the owner did not want when rung is left alone.

    Each says in the same query whether somebody there is `reachable`, whether an agreement is
    in force (`agreed`), and whether somebody said yes to offers and not no since (`consenting`).
    """
    offered = Appointment.objects.filter(job=OuterRef("pk"), cancelled_at__isnull=True)
    refused = Call.objects.filter(job=OuterRef("pk"), outcome=Call.Outcome.NOT_WANTED)
    agreements = Agreement.objects.current(today).filter(premises=OuterRef("system__premises"))
    people = _people_there(today, letter_first=letter_first(organisation))
    return (
        Job.objects.filter(
            ~Exists(offered),
            ~Exists(refused),
            organisation=organisation,
            state__in=[Job.State.WANTED, Job.State.OFFERED],
            due_on__lte=today + timedelta(days=FURTHEST_DAYS),
        )
        .exclude(kind=Job.Kind.CALL_OUT)
        .annotate(
            reachable=Exists(people),
            agreed=Exists(agreements),
            consenting=Exists(people.filter(Q(last_said=True))),
        )
        .select_related("system__premises__organisation", "organisation__profile")
    )


MAY_BE_ASKED = Q(reachable=True) & (Q(agreed=True) | Q(consenting=True))


def _people_there(today: date, *, letter_first: bool) -> QuerySet[Party]:
    """People with a part in the premises of the job today, whom some address reaches."""
    has_letter_box = (
        ~Q(person__postal_address="")
        | ~Q(premises__address="")
        | ~Q(premises__town="")
        | ~Q(premises__postcode="")
    )
    return Party.objects.filter(
        Q(since__isnull=True) | Q(since__lte=today),
        Q(until__isnull=True) | Q(until__gte=today),
        ~Q(person__email="") | has_letter_box,
        premises=OuterRef("system__premises"),
        role__in=[*DECIDES, *IS_THERE],
    ).annotate(
        way=Case(
            When(has_letter_box if letter_first else Q(person__email=""), then=Value(str(POST))),
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
