"""From whom a message comes, and the address at which answers to an invitation arrive."""

from __future__ import annotations

import base64
import hashlib
import hmac
from email.utils import parseaddr
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils.crypto import salted_hmac

from scheduler.calendar_invites.entries import Party, mailbox, one_line

if TYPE_CHECKING:
    from customers.models import Organisation
    from scheduler.models import CalendarEvent

TOKEN_LENGTH = 24  # characters of base32, 120 bits


def reply_token(uid: str, attendee: str) -> str:
    """Proof of having received the invitation: the same over all revisions of an event."""
    salt = "scheduler.messages.reply_token"
    digest = salted_hmac(salt, f"{uid} {attendee.casefold()}", algorithm="sha256").digest()
    return base64.b32encode(digest).decode("ascii").lower()[:TOKEN_LENGTH]


def token_fits(token: str, uid: str, attendee: str) -> bool:
    """Whether a token taken from the delivery address belongs to this event and attendee."""
    return hmac.compare_digest(token.casefold().encode(), reply_token(uid, attendee).encode())


def organizer_of(event: CalendarEvent) -> Party:
    """ORGANIZER, From and Reply-To of everything said about an event."""
    user, _, domain = _bookings_address().rpartition("@")
    token = reply_token(event.uid, event.attendee_email)
    return Party(f"{user}+{token}@{domain}", _name(event.organisation))


def sender_of(organisation: Organisation) -> Party:
    """From of a message that is about no event."""
    return Party(_bookings_address(), _name(organisation))


def office_of(organisation: Organisation) -> Party | None:
    """Where answers in words should go; None where the office gave no usable address."""
    try:
        return Party(mailbox(organisation.sender_email))
    except ValueError:
        return None


def _bookings_address() -> str:
    """The bare address of the settings, which may be written with a name before it."""
    return mailbox(parseaddr(settings.DEFAULT_FROM_EMAIL)[1])


def _name(organisation: Organisation) -> str:
    return one_line(organisation.sender_name or organisation.name)


def message_id(key: str) -> str:
    """A Message-ID that names the outbox row, so that a repeat is known for one."""
    digest = hashlib.sha256(key.encode()).hexdigest()[:40]
    return f"<{digest}@{settings.MAIL_DOMAIN}>"
