"""A calendar program as the standards describe it: fed by mail or by a feed, nothing else."""

from __future__ import annotations

import email
import email.policy
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from icalendar import Calendar

Span = tuple[datetime, datetime]


@dataclass
class AttendeesCalendar:
    """Keeps the newest revision of each UID (RFC 5546 §2.1.5), whatever order mail comes in."""

    newest: dict[str, tuple[tuple[int, datetime], str, Span]] = field(default_factory=dict)

    def receive(self, mail: bytes) -> None:
        message = email.message_from_bytes(mail, policy=email.policy.default)
        for part in message.walk():
            if part.get_content_type() == "text/calendar":
                self._take(Calendar.from_ical(part.get_payload(decode=True)))

    def _take(self, calendar: Calendar) -> None:
        (event,) = calendar.walk("VEVENT")
        revision = (int(event["SEQUENCE"]), event["DTSTAMP"].dt)
        uid = str(event["UID"])
        if uid not in self.newest or self.newest[uid][0] < revision:
            self.newest[uid] = (revision, str(calendar["METHOD"]), span_of(event))

    def shows(self) -> dict[str, Span]:
        return {uid: span for uid, (_, method, span) in self.newest.items() if method != "CANCEL"}


def feed_shows(body: bytes) -> dict[str, Span]:
    events = Calendar.from_ical(body).walk("VEVENT")
    return {str(event["UID"]): span_of(event) for event in events}


def span_of(event: Any) -> Span:
    return event["DTSTART"].dt.astimezone(UTC), event["DTEND"].dt.astimezone(UTC)
