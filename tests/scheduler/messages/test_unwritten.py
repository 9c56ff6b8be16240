"""A fault in the words of a message fails that message alone, in sight of the office."""

from __future__ import annotations

from datetime import date
from unittest.mock import patch

import pytest
from django.template import TemplateSyntaxError

from scheduler import booking
from scheduler.messages import compose, telling
from scheduler.messages.ladder import plan_reminders
from scheduler.messages.outbox import drain, send_again
from scheduler.messages.own_ladder import set_step
from scheduler.models import Appointment, CalendarEvent, Job, Message
from tests.make import make_job, make_user
from tests.scheduler.messages.visits import (
    NOW,
    Sink,
    make_agreement,
    make_owned_system,
    make_visit,
)

pytestmark = pytest.mark.django_db


def broken(*_arguments):
    message = "Invalid block tag on line 1: 'palce'"
    raise TemplateSyntaxError(message)


@pytest.fixture
def booked():
    """A visit booked while the templates were broken."""
    system, _ = make_owned_system()
    job = make_job(system, due_on=date(2027, 6, 30), state=Job.State.WANTED)
    ines = make_user(system.organisation)
    visit = make_visit(job=job, agreed_at=None, agreed_by="")
    Job.objects.update(state=Job.State.OFFERED)
    with patch.object(compose, "fill", broken):
        booking.agree(job=job, how="office", now=NOW, by=ines)
    return visit, ines


def test_a_booking_stands_though_its_message_cannot_be_written(booked):
    visit, _ = booked
    visit.refresh_from_db()
    assert visit.agreed_at == NOW
    assert visit.job.state == Job.State.AGREED
    message = Message.objects.get()
    assert message.state == "dead"
    assert "'palce'" in message.last_error
    assert message.calendar_method == "REQUEST"
    assert CalendarEvent.objects.get().appointment == visit


def test_what_has_no_words_is_never_sent(booked):
    sink = Sink()
    drain(clock=lambda: NOW, post=sink)
    assert sink.taken == []


def test_once_the_words_are_right_it_is_sent_as_it_would_have_been(booked):
    _, ines = booked
    message = Message.objects.get()
    assert send_again(message=message, by=ines, now=NOW)
    message.refresh_from_db()
    assert message.unwritten is None
    assert (message.state, message.last_error) == ("waiting", "")
    assert "We are coming to" in message.subject
    assert message.body_html.startswith("<!DOCTYPE html>")
    sink = Sink()
    drain(clock=lambda: NOW, post=sink)
    assert len(sink.taken) == 1


def test_while_they_are_wrong_it_stays_and_says_so(booked, client):
    _, ines = booked
    message = Message.objects.get()
    client.force_login(ines)
    with patch.object(compose, "fill", broken):
        page = client.post(f"/messages/{message.public_id}/again/", follow=True)
    assert "its words are still missing" in page.content.decode()
    message.refresh_from_db()
    assert message.state == "dead"


def test_own_words_with_a_hole_stop_one_reminder_and_no_other():
    system, _ = make_owned_system()
    other, _ = make_owned_system(organisation=system.organisation, reference="B-2")
    make_job(system, due_on=NOW.date(), state=Job.State.WANTED)
    make_job(other, due_on=NOW.date(), state=Job.State.WANTED)
    make_agreement(system)
    make_agreement(other)
    ines = make_user(system.organisation)
    set_step(
        organisation=system.organisation,
        name="offer_again",
        days=-30,
        in_use=True,
        subject="",
        words="Ring us on {phone}.",
        by=ines,
    )
    system.organisation.phone = ""
    system.organisation.save()
    plan_reminders(now=NOW)
    plan_reminders(now=NOW)
    assert {message.state for message in Message.objects.all()} == {"dead"}
    assert Message.objects.count() == 2
    assert "{phone}" in Message.objects.first().last_error


def test_a_moved_visit_after_one_without_words_is_still_an_invitation(booked):
    visit, _ = booked
    Appointment.objects.filter(pk=visit.pk).update(agreed_at=NOW)
    visit.refresh_from_db()
    visit.starts_at = visit.starts_at.replace(hour=12)
    visit.ends_at = visit.ends_at.replace(hour=14)
    visit.save()
    telling.tell_appointment_moved(appointment=visit, now=NOW)
    newest = Message.objects.order_by("-pk").first()
    assert (newest.state, newest.template) == ("waiting", "invite")
