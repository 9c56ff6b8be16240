"""Mail that came back: found by the Message-ID it quotes, noted on the message it was."""

from __future__ import annotations

import email
import email.policy
from typing import TYPE_CHECKING, Any

from scheduler.calendar_invites.entries import one_line
from scheduler.calendar_invites.replies import LONGEST_MAIL, MOST_PARTS, UnreadableError, parse_mail
from scheduler.models import Message

if TYPE_CHECKING:
    from datetime import datetime
    from email.message import Message as Mail

QUOTES = ("message/rfc822", "text/rfc822-headers")


def note_bounce(mail: bytes, *, now: datetime) -> int:
    """Note a delivery report that says "failed" (RFC 3464 §2.3.3); gives the messages it is of.

    A Message-ID of ours is a long hash, so who quotes it has had the message. Reports of delay or
    success change nothing, and nothing is sent again by itself.
    """
    try:
        report = parse_mail(mail[:LONGEST_MAIL])
    except UnreadableError:
        return 0
    if report.get_content_type() != "multipart/report":
        return 0
    parts = [part for _, part in zip(range(MOST_PARTS), report.walk(), strict=False)]
    failures = [found for part in parts if (found := _failure(part))]
    quoted = {found for part in parts for found in _quoted(part)}
    if not failures or not quoted:
        return 0
    return Message.objects.filter(
        message_id__in=quoted, state=Message.State.SENT, bounced_at__isnull=True
    ).update(bounced_at=now, changed_at=now, last_error=f"Came back: {failures[0]}"[:500])


def _failure(part: Mail[str, str]) -> str:
    """The reason in the block of one recipient; empty where it does not say failed."""
    if str(part.get("Action", "")).strip().casefold() != "failed":
        return ""
    status = part.get("Diagnostic-Code") or part.get("Status") or "no reason given"
    return one_line(str(status)) or "no reason given"


def _quoted(part: Mail[str, str]) -> list[str]:
    if part.get_content_type() not in QUOTES:
        return []
    content: Any = part.get_payload()
    if isinstance(content, list):
        return [one_line(str(inner.get("Message-ID", ""))) for inner in content]
    headers = email.message_from_string(str(content), policy=email.policy.compat32)
    return [one_line(str(headers.get("Message-ID", "")))]
