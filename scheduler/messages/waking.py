"""Waking a worker when something that is due was written; the timetable is the safety net.

The waking runs beside the request: a queue that does not answer delays nobody, and what it would
have started is found by the next look into the outbox.
"""

from __future__ import annotations

import logging
import threading
from typing import TYPE_CHECKING

from celery import current_app
from django.db import transaction
from django.utils import timezone

if TYPE_CHECKING:
    from scheduler.models import Message

logger = logging.getLogger(__name__)

TASK = "scheduler.tasks.drain_outbox"
LASTS = 60.0  # seconds; an older waking is overtaken by the timetable
at_it = threading.Lock()


def wake_for(message: Message) -> None:
    """Start a worker once the message is committed, if it is due now."""
    if message.next_try_at <= timezone.now():
        transaction.on_commit(wake, robust=True)


def wake() -> None:
    """Ask for one look into the outbox; while one asking is under way another adds nothing."""
    if at_it.acquire(blocking=False):
        threading.Thread(target=_ask, name="wake the outbox", daemon=True).start()


def _ask() -> None:
    try:
        current_app.send_task(TASK, expires=LASTS, retry=False)
    except Exception as error:  # noqa: BLE001  (whatever a broker raises: the timetable comes)
        logger.warning("The queue does not answer: %s", error)
    finally:
        at_it.release()
