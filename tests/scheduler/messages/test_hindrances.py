"""A mail server that hangs, a database that goes away, days on which clocks change."""

from __future__ import annotations

import socket
import threading
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import psycopg
import pytest
from django.db import OperationalError, connection
from django.template import TemplateDoesNotExist

from scheduler.messages import ladder, telling
from scheduler.messages.claims import LEASE
from scheduler.messages.outbox import drain
from scheduler.models import Message
from tests.make import make_job
from tests.scheduler.messages.visits import (
    NOW,
    Sink,
    make_agreement,
    make_message,
    make_owned_system,
    make_visit,
)

LONDON = ZoneInfo("Europe/London")


# --- A mail server that stops speaking ---


class SilentServer:
    """Takes each call, says what it is told to say, and then nothing more."""

    def __init__(self, *says: bytes) -> None:
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.says = says
        self.calls: list[int] = []
        threading.Thread(target=self._answer, daemon=True).start()

    def _answer(self) -> None:
        while True:
            try:
                call, _ = self.listening.accept()
            except OSError:
                return
            self.calls.append(call)
            for words in self.says:
                call.sendall(words)
                call.recv(4096)

    def close(self) -> None:
        for one in (self.listening, *self.calls):
            one.close()


@pytest.fixture(params=["at once", "in the middle of a message"])
def silent(request, settings) -> Iterator[SilentServer]:
    ready = (b"220 ready\r\n", b"250 mail.example\r\n", b"250 OK\r\n", b"250 OK\r\n")
    server = SilentServer(*(() if request.param == "at once" else ready))
    settings.MAIL_IS_SENT = True
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = server.listening.getsockname()
    settings.EMAIL_TIMEOUT = 0.5
    yield server
    server.close()


@pytest.mark.django_db
def test_a_server_that_hangs_is_waited_for_once_and_not_for_each_message(silent):
    for _ in range(30):
        make_message()
    result = drain(clock=lambda: NOW)
    assert len(silent.calls) == 1
    assert (result.sent, result.dead) == (0, 0)
    assert Counter(Message.objects.values_list("state", flat=True)) == {"waiting": 30}
    drain(clock=lambda: NOW + timedelta(hours=1), post=(sink := Sink()))
    assert len(sink.taken) == 30


# --- A database that goes away ---


class CuttingSink(Sink):
    """Takes the third message, and the database ends our connection at that moment."""

    def send(self, content: bytes, **options: str) -> None:
        super().send(content, **options)
        if len(self.taken) == 3:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_backend_pid()")
                (ours,) = cursor.fetchone()
            parts = connection.get_connection_params()
            known = {name: parts[name] for name in ("dbname", "user", "host", "port")}
            password = parts.get("password") or None
            with psycopg.connect(**known, password=password, autocommit=True) as other:
                other.execute("SELECT pg_terminate_backend(%s)", [ours])


@pytest.mark.service
@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_a_database_that_cuts_the_connection_loses_nothing():
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no connection to cut; PostgreSQL by DATABASE_URL does")
    for _ in range(10):
        make_message()
    sink = CuttingSink()
    with pytest.raises(OperationalError):
        drain(clock=lambda: NOW, post=sink)
    connection.close()  # as the worker does after a task that failed so
    drain(clock=lambda: NOW + LEASE + timedelta(seconds=1), post=sink)
    assert set(Message.objects.values_list("state", flat=True)) == {"sent"}
    # The one that was taken just before the cut went again, as the same bytes.
    assert (len(set(sink.taken)), len(sink.taken)) == (10, 11)


# --- Days on which clocks change ---


def half_hours(first: date, days: int) -> Iterator[datetime]:
    moment = datetime.combine(first, time(), tzinfo=UTC)
    for step in range(days * 48):
        yield moment + timedelta(minutes=30 * step)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "offers"),
    [
        (date(2027, 3, 28), {"offer"}),
        (date(2027, 10, 31), {"offer", "offer_again"}),  # due in midwinter: offered for November
    ],
)
def test_when_clocks_change_nothing_leaves_at_night_and_nothing_twice(change, offers):
    # The days are those of the Summer Time Order 2002 (SI 2002/262): last Sundays, 01:00 UTC.
    system, _ = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=change + timedelta(days=60))
    visit = make_visit(datetime.combine(change + timedelta(days=1), time(9), tzinfo=LONDON))
    telling.tell_appointment_agreed(appointment=visit, now=NOW - timedelta(days=300))
    Message.objects.all().delete()
    visit.agreed_at = visit.starts_at - timedelta(days=40)
    visit.save()
    sink = Sink()
    for now in half_hours(change - timedelta(days=1), days=3):
        for _ in range(2):  # beat runs twice
            ladder.plan_reminders(now=now)
            drain(clock=lambda now=now: now, post=sink)
    sent = Message.objects.filter(state="sent").values_list("template", "sent_at")
    assert {template for template, _ in sent} == offers | {"reminder_week", "reminder_day"}
    assert len(sink.taken) == len(set(sink.taken)) == len(offers) + 2
    hours = {moment.astimezone(LONDON).time() for _, moment in sent}
    assert all(time(8) <= hour < time(20) for hour in hours)


# --- A template with a hole ---


@pytest.mark.django_db
def test_a_reminder_that_cannot_be_written_stops_no_other_and_comes_when_mended(monkeypatch):
    for reference in ("S-1", "S-2", "S-3"):
        system, _ = make_owned_system(reference=reference)
        make_agreement(system)
        make_job(system, due_on=NOW.date() + timedelta(days=60))
    whole = ladder.job_facts

    def torn(job):
        if job.system.reference == "S-2":
            raise TemplateDoesNotExist("messages/offer/body.txt")
        return whole(job)

    monkeypatch.setattr(ladder, "job_facts", torn)
    assert ladder.plan_reminders(now=NOW) == 2
    monkeypatch.setattr(ladder, "job_facts", whole)
    assert ladder.plan_reminders(now=NOW) == 1
    assert Message.objects.count() == 3
