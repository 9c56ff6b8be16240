"""Calendars to subscribe to, as a calendar program asks for them."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from icalendar import Calendar

from customers.models import Membership
from scheduler.messages import telling
from scheduler.messages.feeds import issue_feed, revoke_feed
from scheduler.models import FeedToken
from tests.make import make_organisation, make_user
from tests.scheduler.messages.visits import NOW, make_owned_system, make_round, make_visit

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _by_day():
    with time_machine.travel(NOW, tick=False):
        yield


def path_of(about, by=None) -> str:
    by = by or make_user(about.organisation)
    return issue_feed(about=about, by=by)[1].removeprefix("http://localhost:8000")


def events(response) -> list:
    return Calendar.from_ical(response.content).walk("VEVENT")


def test_an_owner_sees_the_visit_that_was_agreed(client: Client):
    system, omar = make_owned_system()
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    (event,) = events(client.get(path_of(omar)))
    assert event["UID"] == visit.events.get().uid
    assert event["DTSTART"].dt == visit.starts_at
    assert "ATTENDEE" not in event


def test_a_place_shows_a_visit_once_whoever_is_invited(client: Client):
    system, _ = make_owned_system()
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    assert len(events(client.get(path_of(system.premises)))) == 1


@pytest.mark.parametrize("whose", ["crew", "tanker"])
def test_crew_and_tanker_see_accepted_rounds(client: Client, whose):
    planned = make_round(make_visit())
    make_round(make_visit(), crew=planned.crew, accepted_at=None)
    telling.tell_round_accepted(planned=planned, now=NOW)
    (event,) = events(client.get(path_of(getattr(planned, whose))))
    assert event["UID"] == planned.events.get().uid
    assert event["SEQUENCE"] == 0


def test_a_cancelled_visit_is_gone(client: Client):
    system, omar = make_owned_system()
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    path = path_of(omar)
    visit.cancelled_at = NOW
    visit.save()
    telling.tell_appointment_cancelled(appointment=visit, now=NOW)
    assert events(client.get(path)) == []


def test_the_same_calendar_is_the_same_bytes_and_need_not_be_sent_twice(client: Client):
    system, omar = make_owned_system()
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    path = path_of(omar)
    first, second = client.get(path), client.get(path)
    assert first.content == second.content
    tag, modified = first["ETag"], first["Last-Modified"]
    assert client.get(path, headers={"If-None-Match": tag}).status_code == 304
    assert client.get(path, headers={"If-Modified-Since": modified}).status_code == 304
    assert client.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


def test_the_tag_changes_when_a_visit_moves(client: Client):
    system, omar = make_owned_system()
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    path = path_of(omar)
    before = client.get(path)
    visit.starts_at += timedelta(hours=1)
    visit.save()
    telling.tell_appointment_moved(appointment=visit, now=NOW + timedelta(minutes=1))
    after = client.get(path, headers={"If-None-Match": before["ETag"]})
    assert after.status_code == 200
    (event,) = events(after)
    assert event["DTSTART"].dt == visit.starts_at


def test_a_feed_is_read_and_nothing_else(client: Client):
    _, omar = make_owned_system()
    path = path_of(omar)
    assert client.head(path).status_code == 200
    assert client.post(path).status_code == 405
    assert client.get(path.replace(".ics", "x.ics")).status_code == 404


def test_nobody_in_between_keeps_or_passes_on_a_feed(client: Client):
    _, omar = make_owned_system()
    response = client.get(path_of(omar))
    assert response["Cache-Control"] == "private, max-age=900, must-revalidate"
    assert (response["X-Robots-Tag"], response["Referrer-Policy"]) == ("noindex", "no-referrer")
    assert response["Content-Type"] == "text/calendar; charset=utf-8"


def test_a_closed_feed_gives_nothing(client: Client):
    _, omar = make_owned_system()
    ines = make_user(omar.organisation)
    path = path_of(omar, ines)
    token = FeedToken.objects.get()
    assert revoke_feed(token=token, by=ines, now=NOW)
    assert not revoke_feed(token=token, by=ines, now=NOW)
    assert client.get(path).status_code == 404


def test_the_secret_itself_is_not_kept(client: Client):
    _, omar = make_owned_system()
    secret = path_of(omar).removeprefix("/feeds/").removesuffix(".ics")
    assert len(secret) >= 43
    token = FeedToken.objects.get()
    assert secret not in {str(value) for value in vars(token).values()}
    assert FeedToken.objects.get().last_read_at is None
    client.get(f"/feeds/{secret}.ics")
    assert FeedToken.objects.get().last_read_at == NOW


def test_an_address_is_made_shown_once_and_closed_at_the_desk(client: Client):
    planned = make_round(make_visit())
    client.force_login(make_user(planned.organisation))
    made = client.post(f"/messages/feeds/new/crew/{planned.crew.public_id}/", follow=True)
    assert "/feeds/" in made.context["new_address"]
    assert client.get("/messages/feeds/").context["new_address"] == ""
    token = FeedToken.objects.get()
    client.post(f"/messages/feeds/{token.public_id}/close/")
    token.refresh_from_db()
    assert token.revoked_at == NOW


def test_only_who_may_tell_gives_calendars_out(client: Client):
    planned = make_round(make_visit())
    make = f"/messages/feeds/new/crew/{planned.crew.public_id}/"
    client.force_login(make_user(planned.organisation, Membership.Role.READER))
    assert client.post(make).status_code == 403
    client.force_login(make_user(make_organisation()))
    assert client.post(make).status_code == 404
    assert FeedToken.objects.count() == 0


def test_an_owner_is_found_by_name_and_a_place_by_postcode(client: Client):
    system, omar = make_owned_system()
    client.force_login(make_user(omar.organisation))
    assert list(client.get("/messages/feeds/?q=oma").context["people"]) == [omar]
    found = client.get("/messages/feeds/?q=zz1").context["places"]
    assert list(found) == [system.premises]
    assert list(client.get("/messages/feeds/").context["people"]) == []
