"""Calendars follow when somebody's address or part in a place changes."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db.models import ProtectedError

from customers import register
from scheduler.messages import telling
from scheduler.messages.ladder import plan_reminders
from scheduler.models import CalendarEvent, Message
from tests.make import make_person, make_user
from tests.scheduler.messages.visits import (
    NOW,
    add_party,
    make_owned_system,
    make_round,
    make_visit,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def told():
    """A visit that its owner was told of and heard."""
    system, omar = make_owned_system()
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    return visit, omar


def waiting():
    return set(Message.objects.filter(state="waiting").values_list("to_address", "calendar_method"))


def test_a_new_address_gets_the_visit_and_the_old_one_is_cleared(told):
    visit, omar = told
    ines = make_user(omar.organisation)
    old = omar.email
    register.change_person(person=omar, by=ines, facts={"email": "omar@new.example"})
    assert waiting() == {("omar@new.example", "REQUEST"), (old, "CANCEL")}
    standing = visit.events.filter(cancelled_at__isnull=True)
    assert [event.attendee_email for event in standing] == ["omar@new.example"]


def test_a_new_telephone_number_tells_nobody(told):
    _, omar = told
    register.change_person(person=omar, by=make_user(omar.organisation), facts={"phone": "1"})
    assert waiting() == set()


def test_who_comes_to_a_place_is_invited_and_who_leaves_it_is_told(told):
    visit, omar = told
    ines, sid = make_user(omar.organisation), make_person(omar.organisation)
    premises = visit.job.system.premises
    register.add_party(premises=premises, person=sid, role="occupier", since=None, by=ines)
    assert waiting() == {(sid.email, "REQUEST")}
    party = omar.parties.get()
    register.end_party(party=party, until=NOW.date() - timedelta(days=1), by=ines)
    assert waiting() == {(sid.email, "REQUEST"), (omar.email, "CANCEL")}


def test_a_party_written_down_by_mistake_and_deleted_is_told(told):
    _, omar = told
    omar.parties.get().delete()
    assert waiting() == {(omar.email, "CANCEL")}


def test_a_visit_that_is_over_stays_as_it_was(told, time_machine):
    visit, omar = told
    time_machine.move_to(visit.ends_at + timedelta(hours=1), tick=False)
    omar.email = "omar@new.example"
    omar.save()
    assert waiting() == set()


def test_a_visit_or_round_in_a_calendar_cannot_be_deleted(told):
    visit, _ = told
    planned = make_round(visit)
    telling.tell_round_accepted(planned=planned, now=NOW)
    for row in (visit, planned, visit.job):
        with pytest.raises(ProtectedError):
            row.delete()
    assert CalendarEvent.objects.count() == 2


def test_somebody_at_two_places_gets_both_visits_anew():
    system, omar = make_owned_system()
    other = make_owned_system(organisation=system.organisation)[0]
    add_party(other, omar)
    for one in (system, other):
        telling.tell_appointment_agreed(appointment=make_visit(system=one), now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    omar.email = "omar@new.example"
    omar.save()
    assert Message.objects.filter(state="waiting", to_address="omar@new.example").count() == 2


def test_a_part_that_begins_or_ends_by_its_date_alone_is_followed_by_the_calendars(told):
    visit, omar = told
    sid = make_person(omar.organisation)
    soon = NOW.date() + timedelta(days=2)
    add_party(visit.job.system, sid, since=soon)
    assert waiting() == set()
    plan_reminders(now=NOW + timedelta(days=1))
    assert waiting() == set()
    plan_reminders(now=NOW + timedelta(days=2))
    assert waiting() == {(sid.email, "REQUEST")}
