"""The desk settles what came back and was not believed by itself."""

from __future__ import annotations

import pytest
import time_machine
from django.test import Client

from customers.models import Membership
from scheduler.messages import telling
from scheduler.messages.mailbox import delivered_to
from scheduler.messages.outbox import drain
from scheduler.messages.replies import apply_reply
from scheduler.models import CalendarEvent, Message, Reply
from tests.make import make_organisation, make_user
from tests.scheduler.messages.answers import answer_mail
from tests.scheduler.messages.test_replies import counter
from tests.scheduler.messages.visits import NOW, Sink, make_visit

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _by_day():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def event() -> CalendarEvent:
    telling.tell_appointment_agreed(appointment=make_visit(), now=NOW)
    drain(clock=lambda: NOW, post=Sink())
    return CalendarEvent.objects.get()


@pytest.fixture
def desk(client: Client, event):
    client.force_login(make_user(event.organisation))
    return client


def come_in(mail: bytes) -> Reply:
    reply = apply_reply(mail=mail, delivered_to=delivered_to(mail), now=NOW)
    assert reply is not None
    return reply


def settle(client: Client, reply: Reply, verb: str):
    return client.post(f"/messages/replies/{reply.public_id}/{verb}/")


def test_what_waits_is_shown_with_the_mail_as_text(desk, event, settings):
    settings.MAIL_AUTHSERV_ID = "mx.office.example"
    mail = answer_mail(event, results="").replace(b"Fine.", b"<script>alert(1)</script>")
    come_in(mail)
    page = desk.get("/messages/replies/").content.decode()
    assert "Nothing proves" in page
    assert "&lt;script&gt;alert(1)" in page
    assert "<script>alert" not in page
    assert "(1 waiting)" in desk.get("/messages/").content.decode()


def test_a_proposed_time_is_taken_and_everybody_told(desk, event):
    mail, start = counter(event)
    assert settle(desk, come_in(mail), "move").status_code == 302
    event.refresh_from_db()
    event.appointment.refresh_from_db()
    assert (event.starts_at, event.appointment.starts_at) == (start, start)
    assert event.sequence == 1  # RFC 5546 §3.2.7: accepting means a new REQUEST, SEQUENCE raised
    assert Message.objects.filter(template="update", calendar_method="REQUEST").count() == 1


def test_a_proposed_time_that_is_over_is_refused_and_still_waits(desk, event):
    reply = come_in(counter(event)[0])
    Reply.objects.filter(pk=reply.pk).update(proposed_start=NOW.replace(year=2020))
    settle(desk, reply, "move")
    reply.refresh_from_db()
    assert reply.settled_at is None


@pytest.mark.parametrize("verb", ["take", "keep", "seen"])
def test_settling_twice_changes_nothing_more(desk, event, verb):
    mail = counter(event)[0] if verb == "keep" else answer_mail(event, results="")
    reply = come_in(mail)
    settle(desk, reply, verb)
    settle(desk, reply, verb)
    reply.refresh_from_db()
    assert reply.settled_at == NOW
    declined = Message.objects.filter(calendar_method="DECLINECOUNTER").count()
    assert declined == (verb == "keep")


def test_a_reader_settles_nothing_and_a_stranger_finds_nothing(client, event):
    reply = come_in(answer_mail(event, results=""))
    client.force_login(make_user(event.organisation, Membership.Role.READER))
    assert settle(client, reply, "take").status_code == 403
    client.force_login(make_user(make_organisation()))
    assert settle(client, reply, "take").status_code == 404
    assert client.get(f"/messages/replies/{reply.public_id}/take/").status_code == 405
