"""The last look before a message leaves: is it still true and still of use.

Whether it is still allowed, `consent` says.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from scheduler.models import Job, Message

if TYPE_CHECKING:
    from datetime import datetime

# What these say holds only while no day is settled.
ONLY_UNSETTLED = frozenset({"offer", "offer_again", "overdue", "overdue_again"})
# Methods that state an event; a refused counter-proposal only says that it stays as it is.
REVISIONS = ("REQUEST", "CANCEL")
UNSETTLED = (Job.State.WANTED, Job.State.OFFERED)


def why_no_longer(message: Message, now: datetime) -> str:
    """Why a message must not be sent any more, in words; empty when it may go."""
    if message.expires_at is not None and message.expires_at <= now:
        return "Too late to be of use."
    return _why_overtaken(message) or _why_settled(message)


def _why_overtaken(message: Message) -> str:
    """An invitation or reminder stands only for the revision of the event it was written for."""
    event = message.event
    if event is None:
        return ""
    if message.calendar_sequence != event.sequence:
        return "The visit was changed since."
    if event.cancelled_at is not None and message.calendar_method != "CANCEL":
        return "The visit was cancelled since."
    if message.calendar_method not in REVISIONS:
        return ""
    later = event.messages.filter(calendar_method__in=REVISIONS, pk__gt=message.pk)
    return "Overtaken by a later message." if later.exists() else ""


def _why_settled(message: Message) -> str:
    job = message.job
    if message.template not in ONLY_UNSETTLED or job is None:
        return ""
    if job.state not in UNSETTLED:
        return f"The job is {job.get_state_display().lower()} since."
    if job.appointments.filter(cancelled_at__isnull=True).exists():
        return "A day was offered since."
    return ""
