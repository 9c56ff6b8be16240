"""Whether the site can do its job: database, queue, and background work not fallen behind."""

import logging
from typing import Any

from celery.exceptions import OperationalError
from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from scheduler import sweeps
from scheduler.celery import app

logger = logging.getLogger(__name__)

# A sweep is late when it has missed this many turns; the shortest wait allows for a slow start.
TURNS_MISSED = 4
LEAST_WAIT_SECONDS = 120.0


@require_safe
@never_cache
def health(_request: HttpRequest) -> JsonResponse:
    """Answer 200 when all is well, else 503; no detail that would help a stranger."""
    database = database_answers()
    findings: dict[str, Any] = {"database": database, "queue": queue_answers()}
    findings["background_work"] = database and background_work_keeps_up()
    is_well = all(findings.values())
    return JsonResponse({"well": is_well, **findings}, status=200 if is_well else 503)


def database_answers() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        logger.exception("The database does not answer")
        return False
    return True


def queue_answers() -> bool:
    try:
        with app.connection_for_write(connect_timeout=2) as queue:
            queue.ensure_connection(max_retries=1, timeout=2)
    except (OSError, OperationalError):
        logger.exception("The queue does not answer")
        return False
    return True


def background_work_keeps_up() -> bool:
    """Tell whether every recurring task has ended well lately; one that never ran is late."""
    try:
        ages = sweeps.ages(timezone.now())
    except DatabaseError:
        logger.exception("The sweeps cannot be read")
        return False
    late = [name for name, age in ages.items() if age is None or age > longest_wait(name)]
    if late:
        logger.error("Background work is late: %s", ", ".join(late))
    return not late


def longest_wait(name: str) -> float:
    """Return the seconds after which a recurring task counts as late."""
    return max(TURNS_MISSED * sweeps.intervals()[name], LEAST_WAIT_SECONDS)
