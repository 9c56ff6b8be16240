"""The page of numbers: only for who has the token, and without anybody's name."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families
from pytest_django import Settings

from scheduler.models import Sweep
from tests import make

pytestmark = pytest.mark.django_db
DAY = dt.date(2027, 3, 1)


def numbers(client: Client) -> dict[str, float]:
    """Fetch the page and read it with the reference parser of the format."""
    response = client.get("/metrics/", headers={"Authorization": "Bearer open sesame"})
    assert response.status_code == 200
    families = text_string_to_metric_families(response.content.decode())
    return {
        " ".join([sample.name, *sample.labels.values()]): sample.value
        for family in families
        for sample in family.samples
    }


def test_without_a_token_set_there_is_no_such_page(client: Client, settings: Settings):
    settings.METRICS_TOKEN = ""
    assert client.get("/metrics/").status_code == 404
    assert client.get("/metrics/", headers={"Authorization": "Bearer "}).status_code == 404


def test_a_wrong_token_finds_no_such_page(client: Client, settings: Settings):
    settings.METRICS_TOKEN = "open sesame"
    assert client.get("/metrics/", headers={"Authorization": "Bearer shut"}).status_code == 404


def test_jobs_and_sweeps_are_counted(client: Client, settings: Settings):
    settings.METRICS_TOKEN = "open sesame"
    system = make.make_system(make.make_organisation())
    make.make_job(system, kind="emptying", due_on=DAY)
    make.make_job(system, kind="inspection", due_on=DAY)
    Sweep.objects.create(name="drain_outbox", ran_at=timezone.now())
    found = numbers(client)
    assert found["ebbmark_jobs emptying wanted"] == 1
    assert found["ebbmark_jobs inspection wanted"] == 1
    assert 0 <= found["ebbmark_sweep_age_seconds drain_outbox"] < 60
    assert found["ebbmark_oldest_waiting_message_seconds"] == 0
