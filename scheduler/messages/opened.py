"""Which message's own link was opened: a hint and no proof, for programs open links too."""

from __future__ import annotations

import base64
import binascii
import uuid
from typing import TYPE_CHECKING

from scheduler.models import Message

if TYPE_CHECKING:
    from datetime import datetime

    from customers.models import OwnerLink

NAME = "m"  # in the query part of the address, so that the page opens without it too


def mark_for(public_id: uuid.UUID) -> str:
    """What is added to the link that stands in a message."""
    return f"?{NAME}={base64.urlsafe_b64encode(public_id.bytes).rstrip(b'=').decode()}"


def note_opened(mark: str, link: OwnerLink, *, now: datetime) -> bool:
    """Note that the link of one message to this person was opened; the first time counts."""
    try:
        public_id = uuid.UUID(bytes=base64.urlsafe_b64decode(f"{mark}=="))
    except (binascii.Error, ValueError):
        return False
    mine = Message.objects.filter(
        public_id=public_id, person=link.person, organisation=link.organisation_id
    )
    return mine.filter(opened_at__isnull=True).update(opened_at=now) == 1
