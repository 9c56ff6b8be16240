"""Reading an answer to an invitation out of a mail, warily, and judging what it is worth.

Anybody can write anything into a mail. Size and number of parts are capped before parsing, the
object is found by its Content-Type (RFC 6047 §2.6), and nothing is believed that the proof does
not cover: see `judge`.
"""

import email
import email.policy
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import Message
from email.utils import parseaddr
from typing import Any, Literal, TypeAlias

from icalendar import Calendar, Component

from scheduler.calendar_invites.entries import many_lines, one_line

LONGEST_MAIL = 256 * 1024
LONGEST_OBJECT = 64 * 1024
MOST_COMPONENTS = 20
MOST_PARTS = 30
MOST_TYPES = 100  # a report of failure quotes a whole mail, and none has so many
HIGHEST_SEQUENCE = 2**31 - 1  # RFC 5545 §3.3.8
ANSWERS = frozenset({"ACCEPTED", "DECLINED", "TENTATIVE", "NEEDS-ACTION"})
METHODS = frozenset({"REPLY", "COUNTER", "REFRESH"})

Mail: TypeAlias = "Message[str, str]"
Verdict = Literal["applied", "review", "stale", "duplicate", "refused", "ignored"]


class UnreadableError(ValueError):
    """The mail or its calendar object breaks a limit or a rule; the message says which."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What the calendar object of a reply states."""

    method: str
    uid: str
    attendee: str
    participation: str
    sequence: int
    stamp: datetime
    proposed_start: datetime | None = None
    proposed_end: datetime | None = None
    comment: str = ""


@dataclass(frozen=True, slots=True)
class Envelope:
    """What the mail around it says, and what our own mail server found out about it."""

    mail_id: str
    sender: str
    is_automatic: bool
    authentication: tuple[str, ...]
    answered: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Known:
    """What we know of the event: its present revision and the last answer applied."""

    attendee: str
    sequence: int
    is_cancelled: bool
    reply_sequence: int | None
    reply_stamp: datetime | None


def read_mail(raw: bytes) -> tuple[Envelope, Mail]:
    """The envelope of a mail and the mail itself. Raises UnreadableError beyond the limits."""
    if len(raw) > LONGEST_MAIL:
        msg = f"The mail has {len(raw)} bytes, more than {LONGEST_MAIL}."
        raise UnreadableError(msg)
    message = parse_mail(raw)
    references = f"{message.get('In-Reply-To', '')} {message.get('References', '')}"
    envelope = Envelope(
        mail_id=one_line(str(message.get("Message-ID", "")))[:250],
        sender=_sender(message),
        is_automatic=_is_automatic(message),
        authentication=tuple(str(v) for v in message.get_all("Authentication-Results", [])),
        answered=tuple(word for word in references.split()[:50] if word.isprintable()),
    )
    return envelope, message


def parse_mail(raw: bytes) -> Mail:
    """A mail in its parts. Raises UnreadableError for more than a parser can stand.

    Python's parser goes one level deeper with each part in a part: a mail made of nothing else
    would end the process that reads it, again and again.
    """
    if raw.lower().count(b"content-type:") > MOST_TYPES:
        msg = f"The mail has more than {MOST_TYPES} parts in parts."
        raise UnreadableError(msg)
    return email.message_from_bytes(raw, policy=email.policy.compat32)


def _sender(message: Mail) -> str:
    """The one address of From; empty where there are two, of which only one was checked."""
    froms = message.get_all("From", [])
    return one_line(parseaddr(str(froms[0]))[1]).casefold() if len(froms) == 1 else ""


def _is_automatic(message: Mail) -> bool:
    """Bounces and automatic replies (RFC 3834 §2, RFC 3464 §2): never an answer of a person."""
    return (
        str(message.get("Auto-Submitted", "")).split(";")[0].strip().casefold() == "auto-replied"
        or message.get_content_type() == "multipart/report"
        or str(message.get("Return-Path", "")).strip() == "<>"
    )


def read_answer(message: Mail) -> Answer | None:
    """The answer in a mail; None where it carries no calendar object."""
    for count, part in enumerate(message.walk()):
        if count >= MOST_PARTS:
            msg = f"The mail has more than {MOST_PARTS} parts."
            raise UnreadableError(msg)
        if part.get_content_type() == "text/calendar":
            content = part.get_payload(decode=True)
            return _read_object(content if isinstance(content, bytes) else b"")
    return None


def _read_object(content: bytes) -> Answer:
    if len(content) > LONGEST_OBJECT:
        msg = f"The calendar object has {len(content)} bytes, more than {LONGEST_OBJECT}."
        raise UnreadableError(msg)
    if content.upper().count(b"BEGIN:") > MOST_COMPONENTS:
        msg = f"The calendar object has more than {MOST_COMPONENTS} components."
        raise UnreadableError(msg)
    try:
        calendar = Calendar.from_ical(content)
        return _answer_of(calendar)
    except UnreadableError:
        raise
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        msg = f"The calendar object cannot be read ({type(error).__name__})."
        raise UnreadableError(msg) from error


def _answer_of(calendar: Component) -> Answer:
    events = [part for part in calendar.subcomponents if part.name == "VEVENT"]
    if len(events) != 1:
        msg = f"The calendar object has {len(events)} events instead of one."
        raise UnreadableError(msg)
    event: Any = events[0]
    attendees = event.get("ATTENDEE", [])
    attendees = attendees if isinstance(attendees, list) else [attendees]
    if len(attendees) != 1:  # RFC 5546 §3.2.3: the replier, and nobody else
        msg = f"The answer names {len(attendees)} attendees instead of one."
        raise UnreadableError(msg)
    if "RECURRENCE-ID" in event:
        msg = "The answer is about one instance of a series; our visits are no series."
        raise UnreadableError(msg)
    return Answer(
        method=str(calendar.get("METHOD", "")).upper(),
        uid=one_line(str(event["UID"])),
        attendee=one_line(str(attendees[0]).partition(":")[2]).casefold(),
        participation=one_line(str(attendees[0].params.get("PARTSTAT", "NEEDS-ACTION"))).upper(),
        sequence=_sequence(event),
        stamp=_instant(event["DTSTAMP"].dt),
        proposed_start=_instant(event["DTSTART"].dt) if "DTSTART" in event else None,
        proposed_end=_instant(event["DTEND"].dt) if "DTEND" in event else None,
        comment=many_lines(str(event.get("COMMENT", "")))[:500],
    )


def _sequence(event: Any) -> int:
    sequence = int(event.get("SEQUENCE", 0))
    if not 0 <= sequence <= HIGHEST_SEQUENCE:
        msg = "The SEQUENCE of the answer is out of bounds."
        raise UnreadableError(msg)
    return sequence


def _instant(value: object) -> datetime:
    if not isinstance(value, datetime) or value.tzinfo is None:
        msg = "A time in the answer has no zone."
        raise UnreadableError(msg)
    return value.astimezone(UTC)


def passes_dmarc(results: tuple[str, ...], authserv_id: str) -> bool:
    """Whether our own mail server vouches for the domain of From (RFC 8601 §2.2).

    Only a header that begins with our server's name counts; the border server must remove any
    that came in with that name.
    """
    if not authserv_id:
        return False
    for result in results:
        # Comments and quoted strings may hold what the sender chose.
        plain = re.sub(r'\([^()]*\)|"[^"]*"', " ", result)
        server, _, findings = plain.partition(";")
        words = findings.casefold().replace(";", " ").split()
        if server.split()[:1] == [authserv_id] and "dmarc=pass" in words:
            return True
    return False


def judge(
    answer: Answer, envelope: Envelope, known: Known, *, token_fits: bool, is_proven: bool
) -> tuple[Verdict, str]:
    """What an answer is worth, and why. Only `applied` may change anything.

    The token shows that the sender holds the invitation, which a forwarded one leaks; the proof
    (DMARC, or the operator's word that the token shall do) shows the domain. RFC 6047 §2.2.1:
    an answer by one address for another must not be taken.
    """
    checks: list[tuple[bool, Verdict, str]] = [
        (envelope.is_automatic, "ignored", "An automatic reply."),
        (not token_fits, "refused", "It did not come to the address of this invitation."),
        (answer.method not in METHODS, "refused", f"{answer.method or 'No method'} is no answer."),
        (answer.attendee != known.attendee.casefold(), "refused", "It answers for somebody else."),
        (answer.sequence > known.sequence, "refused", "It answers a revision we never sent."),
        (answer.sequence < known.sequence, "stale", "The visit was changed since."),
        (known.is_cancelled, "stale", "The visit was cancelled since."),
        (_is_old(answer, known), "duplicate", "A newer answer, or this one, is known."),
        (answer.participation not in ANSWERS, "review", "An answer we do not know."),
        (envelope.sender != answer.attendee, "review", "From and the attendee differ."),
        (not is_proven, "review", "Nothing proves that the sender is who it says."),
        (answer.method == "COUNTER", "review", "Asks for another time."),
    ]
    return next(((verdict, reason) for fails, verdict, reason in checks if fails), ("applied", ""))


def _is_old(answer: Answer, known: Known) -> bool:
    """Not newer than the answer already applied (RFC 5546 §2.1.5)."""
    if known.reply_sequence is None or known.reply_stamp is None:
        return False
    return (answer.sequence, answer.stamp) <= (known.reply_sequence, known.reply_stamp)
