"""What is said to whom: the outbox, calendar events, replies, feeds."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models

from customers.models import ContactPreference, OwnedModel, OwnedQuerySet, Person

from .jobs import Appointment, Job
from .rounds import Round


class CalendarEvent(OwnedModel):
    """One event in one attendee's calendar; UID, SEQUENCE and DTSTAMP are kept for good.

    A visit or round that stands in somebody's calendar cannot be deleted: it is cancelled, so
    that the calendar hears of it.
    """

    changed_by = "tell"

    uid = models.CharField(max_length=120, unique=True)
    appointment = models.ForeignKey(
        Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="events"
    )
    round = models.ForeignKey(
        Round, null=True, blank=True, on_delete=models.PROTECT, related_name="events"
    )
    attendee_name = models.CharField(max_length=160, blank=True)
    attendee_email = models.EmailField()
    sequence = models.PositiveIntegerField(default=0)
    dtstamp = models.DateTimeField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True, blank=True)
    summary = models.CharField(max_length=200)
    location = models.CharField(max_length=300, blank=True)
    description = models.TextField(blank=True)
    participation = models.CharField(max_length=16, default="NEEDS-ACTION")
    reply_sequence = models.PositiveIntegerField(null=True, blank=True)
    reply_dtstamp = models.DateTimeField(null=True, blank=True)

    objects = OwnedQuerySet["CalendarEvent"].as_manager()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(appointment__isnull=False) ^ models.Q(round__isnull=False),
                name="event_is_of_an_appointment_or_a_round",
            ),
            models.UniqueConstraint(
                fields=["appointment", "attendee_email"],
                name="one_event_per_appointment_and_person",
            ),
            models.UniqueConstraint(
                fields=["round", "attendee_email"], name="one_event_per_round_and_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.uid} #{self.sequence}"


class Message(OwnedModel):
    """A message to be sent once: written with its cause, sent by whoever claims it."""

    class State(models.TextChoices):
        WAITING = "waiting", "Waiting"
        SENDING = "sending", "Being sent"
        SENT = "sent", "Sent"
        DEAD = "dead", "Could not be sent"
        DROPPED = "dropped", "Not sent: no longer right"

    changed_by = "tell"

    key = models.CharField(max_length=200, unique=True)
    template = models.CharField(max_length=40)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="messages"
    )
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="messages"
    )
    round = models.ForeignKey(
        Round, null=True, blank=True, on_delete=models.SET_NULL, related_name="messages"
    )
    event = models.ForeignKey(
        CalendarEvent, null=True, blank=True, on_delete=models.PROTECT, related_name="messages"
    )
    channel = models.CharField(
        max_length=10,
        choices=ContactPreference.Channel,
        default=ContactPreference.Channel.EMAIL,
    )
    message_class = models.CharField(
        max_length=10,
        choices=ContactPreference.MessageClass,
        default=ContactPreference.MessageClass.SERVICE,
    )
    to_name = models.CharField(max_length=160, blank=True)
    to_address = models.CharField(max_length=254)
    subject = models.CharField(max_length=250)
    body_text = models.TextField()
    body_html = models.TextField(blank=True)
    calendar_method = models.CharField(max_length=16, blank=True)
    calendar_text = models.TextField(blank=True)
    calendar_sequence = models.PositiveIntegerField(null=True, blank=True)
    message_id = models.CharField(max_length=200, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True, blank=True)
    claimed_by = models.CharField(max_length=64, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    last_error = models.TextField(blank=True)
    bounced_at = models.DateTimeField(null=True, blank=True)
    # When its own link to the owner's page was first opened, by a person or a link scanner.
    opened_at = models.DateTimeField(null=True, blank=True)
    language = models.CharField(max_length=8, default="en-gb")
    # What its words are made of, kept only while they could not be made.
    unwritten = models.JSONField(null=True, blank=True)

    objects = OwnedQuerySet["Message"].as_manager()

    class Meta:
        ordering: ClassVar = ["-created_at", "-id"]
        indexes: ClassVar = [
            models.Index(fields=["state", "next_try_at"]),
            models.Index(fields=["organisation", "state", "created_at"]),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(state="sent") | models.Q(sent_at__isnull=False),
                name="sent_messages_have_a_time",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.template} to {self.to_name or self.to_address}"


class Reply(OwnedModel):
    """An answer to an invite, by mail or by link, and what we made of it."""

    class Verdict(models.TextChoices):
        APPLIED = "applied", "Applied"
        REVIEW = "review", "To be looked at"
        STALE = "stale", "Older than what we know"
        DUPLICATE = "duplicate", "Seen before"
        REFUSED = "refused", "Refused"
        IGNORED = "ignored", "Automatic, ignored"

    changed_by = "tell"

    event = models.ForeignKey(
        CalendarEvent, null=True, blank=True, on_delete=models.PROTECT, related_name="replies"
    )
    source_id = models.CharField(
        max_length=250, help_text="Message-ID or link nonce: the same answer comes in once."
    )
    received_at = models.DateTimeField()
    from_address = models.CharField(max_length=254, blank=True)
    participation = models.CharField(max_length=16, blank=True)
    sequence = models.PositiveIntegerField(null=True, blank=True)
    dtstamp = models.DateTimeField(null=True, blank=True)
    proposed_start = models.DateTimeField(null=True, blank=True)
    verdict = models.CharField(max_length=10, choices=Verdict)
    reason = models.CharField(max_length=300, blank=True)
    raw = models.TextField(blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)

    objects = OwnedQuerySet["Reply"].as_manager()

    class Meta:
        verbose_name_plural = "replies"
        ordering: ClassVar = ["-received_at"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "source_id"], name="replies_come_in_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.from_address}: {self.participation} ({self.verdict})"


class FeedToken(OwnedModel):
    """Leave to read one calendar feed; only a hash of the token is kept."""

    changed_by = "tell"

    token_hash = models.CharField(max_length=64, unique=True)
    crew = models.ForeignKey("scheduler.Crew", null=True, blank=True, on_delete=models.CASCADE)
    tanker = models.ForeignKey("scheduler.Tanker", null=True, blank=True, on_delete=models.CASCADE)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.CASCADE)
    premises = models.ForeignKey(
        "customers.Premises", null=True, blank=True, on_delete=models.CASCADE
    )
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_read_at = models.DateTimeField(null=True, blank=True)

    objects = OwnedQuerySet["FeedToken"].as_manager()

    def __str__(self) -> str:
        return str(self.crew or self.tanker or self.person or self.premises)


class Sweep(models.Model):
    """When a recurring piece of background work last ran to its end."""

    name = models.CharField(max_length=40, primary_key=True)
    ran_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name} at {self.ran_at}"


def new_uid(prefix: str, domain: str) -> str:
    """Make a calendar UID that nobody else will make."""
    return f"{prefix}-{uuid.uuid4()}@{domain}"
