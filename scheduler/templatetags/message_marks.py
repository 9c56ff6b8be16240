"""The state and the times of a message in words."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django import template
from django.conf import settings
from django.utils.formats import date_format

from scheduler.templatetags.marks import tag

if TYPE_CHECKING:
    from datetime import datetime

    from django.utils.safestring import SafeString

    from customers.models import Organisation
    from scheduler.models import Message

register = template.Library()

STATE_LOOKS = {
    "waiting": "note",
    "sending": "note",
    "sent": "calm",
    "dead": "over",
    "dropped": "ended",
}
ANSWERS = {
    "NEEDS-ACTION": "None yet",
    "ACCEPTED": "Accepted",
    "DECLINED": "Declined",
    "TENTATIVE": "Perhaps",
}


@register.simple_tag
def message_tag(message: Message) -> SafeString:
    """State of a message in its own word."""
    if message.channel == "post" and message.state == "waiting":
        return tag("note", "To be printed")
    if message.bounced_at is not None:
        return tag("over", "Came back")
    return tag(STATE_LOOKS[message.state], message.get_state_display())


@register.simple_tag
def message_moment(message: Message) -> str:
    """When it was sent or, before that, when it leaves or was written."""
    waits = message.next_try_at if message.state == "waiting" else message.created_at
    return local_moment(message.sent_at or waits, message.organisation)


@register.simple_tag
def local_moment(moment: datetime, organisation: Organisation) -> str:
    """Day and time on the organisation's clock."""
    return date_format(moment.astimezone(ZoneInfo(organisation.time_zone)), "j M Y, H:i")


@register.simple_tag
def participation_in_words(answer: str) -> str:
    """What an attendee answered."""
    return ANSWERS.get(answer, answer.capitalize())


@register.simple_tag
def mail_is_sent() -> bool:
    """Whether a mail server is set up."""
    return bool(settings.MAIL_IS_SENT)
