"""Calendars to subscribe to: a secret address each, revocable, and what stands in them."""

from __future__ import annotations

import hashlib
import secrets
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from customers import access
from customers.models import Person, Premises
from scheduler.calendar_invites.entries import Entry
from scheduler.calendar_invites.objects import feed
from scheduler.messages.crews_told import round_said
from scheduler.messages.events import entry_of
from scheduler.messages.links import full_address
from scheduler.models import CalendarEvent, Crew, FeedToken, Round, Tanker

if TYPE_CHECKING:
    from customers.models import User

# A feed shows the past month too: people look back at what was, and clients drop what vanishes.
LOOKS_BACK = timedelta(days=31)
READ_NOTED_EVERY = timedelta(hours=1)


def token_hash(token: str) -> str:
    """What is kept of a feed's secret."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def issue_feed(*, about: Crew | Tanker | Person | Premises, by: User) -> tuple[FeedToken, str]:
    """Make a feed and give its address, which is shown once and not kept."""
    organisation = about.organisation
    access.require(by, "tell", organisation)
    secret = secrets.token_urlsafe(32)
    token = FeedToken(organisation=organisation, token_hash=token_hash(secret))
    if isinstance(about, Crew):
        token.crew = about
    elif isinstance(about, Tanker):
        token.tanker = about
    elif isinstance(about, Person):
        token.person = about
    else:
        token.premises = about
    token.save()
    return token, full_address("scheduler:feed", secret)


@transaction.atomic
def revoke_feed(*, token: FeedToken, by: User, now: datetime) -> bool:
    """Close a feed; whoever still asks for it gets nothing."""
    access.require_change(by, token)
    open_token = FeedToken.objects.filter(pk=token.pk, revoked_at__isnull=True)
    return open_token.update(revoked_at=now, changed_at=now) == 1


def find_feed(secret: str, *, now: datetime) -> FeedToken | None:
    """The open feed with this secret; notes that it was read, at most once an hour."""
    token = (
        FeedToken.objects.filter(token_hash=token_hash(secret), revoked_at__isnull=True)
        .select_related("organisation", "crew", "tanker", "person", "premises")
        .first()
    )
    if token is not None:
        FeedToken.objects.filter(
            Q(last_read_at__isnull=True) | Q(last_read_at__lt=now - READ_NOTED_EVERY), pk=token.pk
        ).update(last_read_at=now)
    return token


def feed_body(token: FeedToken, *, now: datetime) -> tuple[bytes, datetime | None]:
    """The calendar of a feed, and when anything in it last changed."""
    since = now.astimezone(UTC) - LOOKS_BACK
    if token.crew is not None or token.tanker is not None:
        entries = [round_entry(planned) for planned in _rounds(token, since)]
    else:
        entries = [entry_of(event) for event in _events(token, since)]
    body = feed(
        entries,
        name=f"{token.organisation}: {token}",
        uid=f"feed-{token.public_id}@{settings.MAIL_DOMAIN}",
    )
    return body, max((entry.stamp for entry in entries), default=None)


def _rounds(token: FeedToken, since: datetime) -> list[Round]:
    whose = Q(tanker=token.tanker) if token.tanker else Q(crew=token.crew)
    if token.crew:
        whose |= Q(crew__isnull=True, tanker__crew=token.crew)
    accepted = Round.objects.filter(
        whose, accepted_at__isnull=False, starts_at__isnull=False, ends_at__gte=since
    )
    return list(accepted.select_related("tanker__base", "organisation").order_by("pk"))


def round_entry(planned: Round) -> Entry:
    """A round as its crew's invitation states it, so that both show as one."""
    event = planned.events.filter(cancelled_at__isnull=True).order_by("pk").first()
    if event is not None:
        return entry_of(event)
    said = round_said(planned)
    return Entry(
        uid=f"round-{planned.public_id}@{settings.MAIL_DOMAIN}",
        sequence=0,
        stamp=planned.changed_at.astimezone(UTC).replace(microsecond=0),
        starts=said.starts_at,
        ends=said.ends_at,
        zone=planned.organisation.time_zone,
        summary=said.summary,
        location=said.location,
        description=said.description,
    )


def _events(token: FeedToken, since: datetime) -> list[CalendarEvent]:
    standing = CalendarEvent.objects.filter(
        organisation=token.organisation,
        appointment__isnull=False,
        cancelled_at__isnull=True,
        ends_at__gte=since,
    ).select_related("organisation", "appointment__job__system__premises__organisation")
    if token.person is not None:
        mine = standing.filter(attendee_email__iexact=token.person.email)
        return list(mine.order_by("pk")) if token.person.email else []
    here = standing.filter(appointment__job__system__premises=token.premises).order_by("pk")
    # Each attendee has an event of the same visit: a feed of the place shows it once.
    return list({event.appointment_id: event for event in reversed(here)}.values())
