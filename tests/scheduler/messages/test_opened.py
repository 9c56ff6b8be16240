"""Which message's own link was opened."""

from __future__ import annotations

import re

import pytest

from scheduler.messages import telling
from scheduler.models import Message
from tests.make import make_user
from tests.scheduler.messages.visits import NOW, make_owned_system, make_visit

pytestmark = pytest.mark.django_db


def path_in(message):
    return re.search(r"https?://[^/\s]+(/place/\S+)", message.body_text)[1]


@pytest.fixture
def two():
    """Two messages to Omar about one visit."""
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    telling.tell_on_the_way(appointment=visit, now=NOW)
    return Message.objects.order_by("pk")


def test_opening_the_link_of_one_message_marks_that_message_and_no_other(client, two):
    first, second = two
    assert client.get(path_in(first)).status_code == 200
    first.refresh_from_db()
    second.refresh_from_db()
    assert first.opened_at is not None
    assert second.opened_at is None


def test_the_first_time_counts(client, two):
    client.get(path_in(two[0]))
    Message.objects.filter(opened_at__isnull=False).update(opened_at=NOW)
    client.get(path_in(two[0]))
    assert two.filter(opened_at=NOW).count() == 1


@pytest.mark.parametrize(
    "mark", ["", "?m=", "?m=%00", "?m=AAAA", "?m=" + "A" * 22, "?m=" + "x" * 9999]
)
def test_the_page_opens_whatever_stands_behind_the_question_mark(client, two, mark):
    assert client.get(path_in(two[0]).partition("?")[0] + mark).status_code == 200
    assert not two.filter(opened_at__isnull=False).exists()


def test_a_link_marks_no_message_to_somebody_else(client, two):
    other, sid = make_owned_system()
    theirs = make_visit(system=other)
    telling.tell_appointment_agreed(appointment=theirs, now=NOW)
    mark = path_in(Message.objects.get(person=sid)).partition("?")[2]
    client.get(f"{path_in(two[0]).partition('?')[0]}?{mark}")
    assert not Message.objects.filter(opened_at__isnull=False).exists()


def test_the_office_sees_it_on_the_message_and_on_the_page_of_what_was_said(client, two):
    client.get(path_in(two[0]))
    message = two[0]
    client.force_login(make_user(message.organisation))
    page = client.get(f"/messages/{message.public_id}/").content.decode()
    assert "Its link opened" in page
    told = client.get(f"/messages/about/job/{message.job.public_id}/").content.decode()
    assert told.count("Link opened") == 1
