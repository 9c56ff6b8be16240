"""What is logged and how: one line an event, without names, addresses or secrets.

A log is read by more people, and kept longer, than the records it speaks of. So a request is
named by its route, not its path (an owner's link is a key), a user by number, and mail
addresses that reach a line by accident are masked.
"""

import logging
import re
import time
import uuid
from collections.abc import Callable
from typing import Any

import structlog
from celery.signals import task_postrun, task_prerun
from django.http import HttpRequest, HttpResponse
from structlog.contextvars import bind_contextvars, clear_contextvars
from structlog.typing import EventDict, Processor

logger = logging.getLogger(__name__)

MAIL_ADDRESS = re.compile(r"[\w.+%-]+@[\w-]+(?:\.[\w-]+)+")
PERSONAL = {"address", "email", "mail", "name", "password", "phone", "postcode", "token", "to"}
# What these say below an error is said elsewhere, or names people.
QUIET = (
    "axes",
    "celery.app.trace",
    "celery.beat",
    "celery.worker.consumer.connection",
    "celery.worker.strategy",
    "django.request",
    "kombu.connection",
)


def configuration(*, level: str, as_json: bool) -> dict[str, Any]:
    """Return the value of Django's LOGGING: lines for a person, or JSON for a collector."""
    shown: Processor = (
        structlog.processors.JSONRenderer()
        if as_json
        else structlog.dev.ConsoleRenderer(colors=False, pad_event_to=0, pad_level=False)
    )
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "line": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": [
                    structlog.contextvars.merge_contextvars,
                    structlog.stdlib.add_logger_name,
                    structlog.stdlib.add_log_level,
                    structlog.processors.TimeStamper(fmt="iso", utc=True),
                    name_the_route,
                ],
                "processors": [
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    structlog.processors.format_exc_info,
                    mask_personal_data,
                    shown,
                ],
            }
        },
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
        "root": {"handlers": ["console"], "level": level},
        "loggers": {name: {"level": "ERROR"} for name in QUIET},
    }


def name_the_route(_logger: Any, _method: str, event: EventDict) -> EventDict:
    """Replace the path that Django logs for a refused request by the route it matched."""
    record: logging.LogRecord | None = event.get("_record")
    request = getattr(record, "request", None)
    if isinstance(request, HttpRequest):
        event["event"] = f"{getattr(record, 'status_code', 'refused')} {route_of(request)}"
    return event


def mask_personal_data(_logger: Any, _method: str, event: EventDict) -> EventDict:
    """Mask mail addresses anywhere, and everything filed under a personal name."""
    for key, value in event.items():
        if key in PERSONAL:
            event[key] = "(kept out)"
        elif isinstance(value, str):
            event[key] = MAIL_ADDRESS.sub("(mail address)", value)
    return event


def route_of(request: HttpRequest) -> str:
    """Return the pattern that the path matched: it holds no ids and no keys."""
    match = request.resolver_match
    return f"{request.method} /{match.route}" if match else f"{request.method} (no such page)"


class RequestLog:
    """Middleware: give each request an id, and log how it ended and how long it took."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        clear_contextvars()
        request_id = uuid.uuid4().hex
        bind_contextvars(request=request_id)
        begun = time.perf_counter()
        try:
            response = self.get_response(request)
            milliseconds = round((time.perf_counter() - begun) * 1000)
            logger.info("%s %s in %s ms", response.status_code, route_of(request), milliseconds)
        finally:
            clear_contextvars()
        response["X-Request-Id"] = request_id
        return response


@task_prerun.connect
def bind_task(task_id: str, task: Any, **_kwargs: Any) -> None:
    """Give every line of a task its name and id."""
    bind_contextvars(task=task.name, task_id=task_id)


@task_postrun.connect
def unbind_task(**_kwargs: Any) -> None:
    """Let the next task of this thread begin with a clean slate."""
    structlog.contextvars.unbind_contextvars("task", "task_id")
