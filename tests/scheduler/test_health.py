"""The page that a monitor asks: is the database there, the queue, and is work being done?"""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import DatabaseError
from django.test import Client
from django.utils import timezone

from scheduler import health, sweeps
from scheduler.celery import app
from scheduler.models import Sweep

pytestmark = pytest.mark.django_db


def sweep_everything(ago: dt.timedelta = dt.timedelta()) -> None:
    for name in sweeps.intervals():
        Sweep.objects.update_or_create(name=name, defaults={"ran_at": timezone.now() - ago})


def test_all_is_well_when_every_sweep_has_run(client: Client):
    sweep_everything()
    response = client.get("/health/")
    assert response.status_code == 200
    assert response.json() == {
        "well": True,
        "database": True,
        "queue": True,
        "background_work": True,
    }


def test_work_that_never_ran_is_late(client: Client):
    response = client.get("/health/")
    assert response.status_code == 503
    assert response.json()["background_work"] is False


def test_work_that_stopped_long_ago_is_late(client: Client):
    sweep_everything(ago=dt.timedelta(days=1))
    assert client.get("/health/").status_code == 503


@pytest.mark.parametrize("name", sorted(sweeps.intervals()))
def test_one_missed_turn_is_not_yet_late(name: str):
    assert sweeps.intervals()[name] < health.longest_wait(name)


def test_a_database_that_does_not_answer_is_said_without_detail(
    client: Client, monkeypatch: pytest.MonkeyPatch
):
    def fail() -> None:
        raise DatabaseError("secret address of the server")

    monkeypatch.setattr("scheduler.health.connection.cursor", fail)
    response = client.get("/health/")
    assert response.status_code == 503
    assert b"secret" not in response.content
    assert response.json()["database"] is False


def test_a_queue_that_does_not_answer_is_not_well(monkeypatch: pytest.MonkeyPatch):
    def refuse(**_kwargs: object) -> None:
        raise ConnectionRefusedError

    monkeypatch.setattr("scheduler.health.app.connection_for_write", refuse)
    assert not health.queue_answers()


def test_a_recurring_task_leaves_the_time_of_its_end():
    before = timezone.now()
    app.tasks["scheduler.tasks.drain_outbox"].delay()
    assert Sweep.objects.get(name="drain_outbox").ran_at >= before
