"""Mails as calendar programs and people send them in answer to an invitation."""

from __future__ import annotations

from datetime import datetime, timedelta
from email.message import EmailMessage

from icalendar import Calendar

from scheduler.messages.senders import organizer_of
from scheduler.models import CalendarEvent

AUTHSERV = "mx.office.example"
PASS = f"{AUTHSERV}; dmarc=pass (p=reject) header.from=home.example; spf=pass"


def answer_object(event: CalendarEvent, **changes: object) -> bytes:
    """A REPLY as RFC 5546 §3.2.3 shows it: the replier alone, SEQUENCE echoed, DTSTAMP new."""
    stamp = changes.get("stamp", event.dtstamp + timedelta(hours=1))
    assert isinstance(stamp, datetime)
    lines = [
        "BEGIN:VCALENDAR",
        "PRODID:-//Example//Test//EN",
        "VERSION:2.0",
        f"METHOD:{changes.get('method', 'REPLY')}",
        "BEGIN:VEVENT",
        f"UID:{changes.get('uid', event.uid)}",
        f"SEQUENCE:{changes.get('sequence', event.sequence)}",
        f"DTSTAMP:{stamp:%Y%m%dT%H%M%SZ}",
        f"ORGANIZER:mailto:{organizer_of(event).address}",
        f"ATTENDEE;PARTSTAT={changes.get('partstat', 'ACCEPTED')}:"
        f"mailto:{changes.get('attendee', event.attendee_email)}",
        *(changes.get("more", [])),  # type: ignore[misc]
        "END:VEVENT",
        "END:VCALENDAR",
    ]
    content = "\r\n".join(lines).encode() + b"\r\n"
    if changes.get("check", True):
        Calendar.from_ical(content)  # a fault of the test itself would prove nothing
    return content


def answer_mail(event: CalendarEvent, **changes: object) -> bytes:
    """The mail that brings the answer home, with what our own mail server adds on top."""
    content = changes.pop("content", None) or answer_object(event, **changes)
    mail = EmailMessage()
    mail["Delivered-To"] = str(changes.get("delivered_to", organizer_of(event).address))
    if results := changes.get("results", PASS):
        mail["Authentication-Results"] = str(results)
    mail["From"] = f"Omar <{changes.get('sender', event.attendee_email)}>"
    mail["To"] = organizer_of(event).address
    mail["Subject"] = "Accepted"
    mail["Message-ID"] = str(changes.get("mail_id", "<reply-1@home.example>"))
    for name, value in changes.get("headers", {}).items():  # type: ignore[attr-defined]
        mail[name] = value
    mail.set_content("Fine.")
    assert isinstance(content, bytes)
    mail.add_alternative(
        content.decode(), subtype="calendar", params={"method": changes.get("method", "REPLY")}
    )
    return mail.as_bytes()
