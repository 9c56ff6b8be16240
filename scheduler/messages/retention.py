"""What answers said word by word is forgotten after a while; what came of them is kept."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.conf import settings
from django.db.models import Q

from scheduler.models import Reply

if TYPE_CHECKING:
    from datetime import datetime


def forget_raw_replies(*, now: datetime) -> int:
    """Empty the raw mail of answers older than REPLIES_KEPT_DAYS; gives how many were emptied.

    One that still waits to be looked at keeps its words until somebody has settled it.
    """
    old = Reply.objects.filter(received_at__lt=now - timedelta(days=settings.REPLIES_KEPT_DAYS))
    waits = Q(verdict=Reply.Verdict.REVIEW, settled_at__isnull=True)
    return old.exclude(raw="").exclude(waits).update(raw="", changed_at=now)
