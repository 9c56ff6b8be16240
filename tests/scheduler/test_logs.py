"""What a log line holds, and above all what it does not."""

from __future__ import annotations

import io
import json
import logging
import logging.config
from collections.abc import Iterator

import pytest
from django.test import Client, RequestFactory
from structlog.contextvars import get_contextvars

from scheduler import logs


@pytest.fixture
def written() -> Iterator[io.StringIO]:
    """Catch what the site's formatter writes for every logger, as JSON."""
    stream = io.StringIO()
    configured = logs.configuration(level="INFO", as_json=True)["formatters"]["line"]
    handler = logging.StreamHandler(stream)
    make_formatter = configured.pop("()")
    handler.setFormatter(make_formatter(**configured))
    root = logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    yield stream
    root.removeHandler(handler)
    root.setLevel(level)


def lines(stream: io.StringIO) -> list[dict[str, str]]:
    return [json.loads(line) for line in stream.getvalue().splitlines()]


def test_a_request_is_named_by_its_route_and_carries_its_id(client: Client, written: io.StringIO):
    response = client.get("/metrics/?owner=Omar")
    found = [line for line in lines(written) if line["logger"] == "scheduler.logs"]
    assert len(found) == 1
    assert found[0]["event"].startswith("404 GET /metrics/ in ")
    assert found[0]["request"] == response["X-Request-Id"]
    assert "Omar" not in written.getvalue()


@pytest.mark.django_db
def test_the_path_of_an_unknown_page_is_not_kept(client: Client, written: io.StringIO):
    client.get("/no/such/key-of-an-owner/")
    assert "key-of-an-owner" not in written.getvalue()
    assert "404 GET (no such page)" in written.getvalue()


def test_djangos_own_lines_lose_the_path_too(written: io.StringIO):
    request = RequestFactory().get("/o/key-of-an-owner/")
    request.resolver_match = None
    logging.getLogger("django.request").error(
        "Internal Server Error: %s", request.path, extra={"status_code": 500, "request": request}
    )
    assert "key-of-an-owner" not in written.getvalue()
    assert lines(written)[0]["event"] == "500 GET (no such page)"


def test_a_mail_address_in_a_message_or_a_traceback_is_masked(written: io.StringIO):
    try:
        raise ValueError("refused: omar@home.example")
    except ValueError:
        logging.getLogger("any").exception("Could not write to %s", "omar@home.example")
    assert "omar@" not in written.getvalue()
    assert lines(written)[0]["event"] == "Could not write to (mail address)"
    assert lines(written)[0]["exception"].endswith("refused: (mail address)")


def test_what_is_filed_under_a_personal_name_is_kept_out():
    event = logs.mask_personal_data(None, "info", {"event": "met", "name": "Omar", "job": "7"})
    assert event == {"event": "met", "name": "(kept out)", "job": "7"}


def test_lines_of_a_task_carry_its_name_until_it_ends():
    class Task:
        name = "scheduler.tasks.drain_outbox"

    logs.bind_task(task_id="7", task=Task)
    assert get_contextvars() == {"task": "scheduler.tasks.drain_outbox", "task_id": "7"}
    logs.unbind_task()
    assert get_contextvars() == {}
