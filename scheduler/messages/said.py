"""Everything that was said to a person, or about a job or a place: to answer "did you tell me?"."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from customers.models import OwnerLink, Person, Premises
from scheduler.models import Call, Job, Message, Reply

if TYPE_CHECKING:
    from django.db.models import QuerySet


@dataclass(frozen=True, slots=True)
class Said:
    """What is known about having told somebody."""

    messages: QuerySet[Message]
    replies: QuerySet[Reply]
    calls: QuerySet[Call]
    links: QuerySet[OwnerLink]


def said_about(about: Person | Premises | Job) -> Said:
    """Messages, answers, calls and opened pages of one person, place or job, newest first."""
    if isinstance(about, Person):
        mine = Q(person=about)
        if about.email:
            mine |= Q(person__isnull=True, to_address__iexact=about.email)
        messages = Message.objects.filter(mine)
        calls = Call.objects.filter(person=about)
        links = OwnerLink.objects.filter(person=about)
    elif isinstance(about, Premises):
        messages = Message.objects.filter(job__system__premises=about)
        calls = Call.objects.filter(job__system__premises=about)
        links = OwnerLink.objects.filter(premises=about)
    else:
        messages = Message.objects.filter(job=about)
        calls = Call.objects.filter(job=about)
        links = OwnerLink.objects.filter(premises=about.system.premises)
    own = messages.filter(organisation=about.organisation)
    replies = Reply.objects.filter(
        organisation=about.organisation, event__in=own.exclude(event=None).values("event")
    )
    return Said(
        messages=own.select_related("organisation", "job__system__premises", "event"),
        replies=replies.select_related("organisation", "event").order_by("-received_at"),
        calls=calls.filter(organisation=about.organisation)
        .select_related("organisation", "rung_by", "job__system__premises", "person")
        .order_by("-created_at", "-pk"),
        links=links.filter(organisation=about.organisation, revoked_at__isnull=True)
        .select_related("person", "premises", "organisation")
        .order_by("pk"),
    )
