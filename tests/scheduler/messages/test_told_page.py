"""One page that answers "did you tell me?"."""

from __future__ import annotations

import pytest

from customers.models import OwnerLink
from scheduler.models import Reply
from tests.make import make_organisation, make_user
from tests.scheduler.messages.visits import NOW, make_message, make_owned_system, make_visit

pytestmark = pytest.mark.django_db


@pytest.fixture
def told(client):
    system, omar = make_owned_system()
    visit = make_visit(system=system)
    common = {"organisation": system.organisation, "person": omar, "job": visit.job}
    make_message(**common, subject="We come", state="sent", sent_at=NOW)
    make_message(**common, subject="It came back", state="sent", sent_at=NOW, bounced_at=NOW)
    make_message(**common, subject="A letter", channel="post")
    make_message(organisation=system.organisation, subject="To another")
    client.force_login(make_user(system.organisation))
    return {"person": omar, "premises": system.premises, "job": visit.job}


@pytest.mark.parametrize("kind", ["person", "premises", "job"])
def test_it_lists_what_was_said_and_what_became_of_it(client, told, kind):
    response = client.get(f"/messages/about/{kind}/{told[kind].public_id}/")
    assert {message.subject for message in response.context["page"]} == {
        "We come",
        "It came back",
        "A letter",
    }
    page = response.content.decode()
    for words in ("Sent", "Came back", "To be printed", "7 Jun 2027, 10:00"):
        assert words in page


def test_it_shows_opened_links_and_answers(client, told):
    omar, job = told["person"], told["job"]
    OwnerLink.objects.create(
        organisation=omar.organisation,
        person=omar,
        premises=told["premises"],
        last_opened_at=NOW,
        times_opened=3,
    )
    event = job.appointments.get().events.create(
        organisation=omar.organisation,
        uid="visit-1",
        attendee_email=omar.email,
        dtstamp=NOW,
        starts_at=NOW,
        ends_at=NOW.replace(hour=12),
        summary="Visit",
    )
    make_message(organisation=omar.organisation, person=omar, job=job, event=event)
    Reply.objects.create(
        organisation=omar.organisation,
        event=event,
        source_id="<1@home.example>",
        received_at=NOW,
        participation="DECLINED",
        from_address=omar.email,
        verdict="applied",
    )
    page = client.get(f"/messages/about/job/{job.public_id}/").content.decode()
    assert "opened 3 times" in page
    assert "Declined" in page


@pytest.mark.parametrize("kind", ["person", "premises", "job"])
def test_another_firm_finds_nothing(client, told, kind):
    client.force_login(make_user(make_organisation()))
    assert client.get(f"/messages/about/{kind}/{told[kind].public_id}/").status_code == 404


def test_no_other_kind_of_thing_has_such_a_page(client, told):
    assert client.get(f"/messages/about/crew/{told['job'].public_id}/").status_code == 404


def test_the_pages_of_person_and_place_lead_there(client, told):
    for kind, at in (("person", "people"), ("premises", "premises")):
        page = client.get(f"/register/{at}/{told[kind].public_id}/").content.decode()
        assert f"/messages/about/{kind}/{told[kind].public_id}/" in page
        assert f"/messages/feeds/new/{kind}/{told[kind].public_id}/" in page
