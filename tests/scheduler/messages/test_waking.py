"""A worker is woken when something due is committed, and nobody waits for the queue."""

from __future__ import annotations

import threading

import pytest
from kombu.exceptions import OperationalError

from scheduler.messages import telling, waking
from scheduler.models import Message
from tests.scheduler.messages.visits import NOW, make_visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def asked(monkeypatch):
    """What the queue was asked for; the asking runs in the test's own thread."""
    tasks: list[str] = []
    monkeypatch.setattr(waking.current_app, "send_task", lambda name, **_how: tasks.append(name))

    class AtOnce(threading.Thread):
        def start(self) -> None:
            self.run()

    monkeypatch.setattr(waking.threading, "Thread", AtOnce)
    return tasks


def test_what_is_due_wakes_a_worker_once_committed(
    asked, time_machine, django_capture_on_commit_callbacks
):
    time_machine.move_to(NOW, tick=False)
    with django_capture_on_commit_callbacks(execute=True):
        telling.tell_appointment_agreed(appointment=make_visit(), now=NOW)
        assert asked == []
    assert asked == ["scheduler.tasks.drain_outbox"]


def test_what_waits_for_the_morning_wakes_nobody(
    asked, time_machine, django_capture_on_commit_callbacks
):
    night = NOW.replace(hour=22)
    time_machine.move_to(night, tick=False)
    with django_capture_on_commit_callbacks(execute=True):
        telling.tell_appointment_agreed(appointment=make_visit(), now=night)
    assert (asked, Message.objects.count()) == ([], 1)


def test_a_queue_that_is_gone_is_noted_and_asked_again_next_time(asked, monkeypatch, caplog):
    def gone(name, **_how):
        raise OperationalError("connection refused")

    with monkeypatch.context() as for_now:
        for_now.setattr(waking.current_app, "send_task", gone)
        waking.wake()
    assert "does not answer" in caplog.text
    waking.wake()
    assert len(asked) == 1
