"""The desk's pages about messages, and the page that ends marketing."""

from __future__ import annotations

import pytest
from django.test import Client

from customers.models import Membership, Suppression
from scheduler.messages import consent
from scheduler.messages.links import leave_address
from scheduler.messages.mime import wire_bytes
from scheduler.messages.outbox import letter_of
from scheduler.models import Message
from tests.make import make_job, make_organisation, make_user
from tests.scheduler.messages.visits import NOW, allow, make_message, make_owned_system

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def ines(office):
    return make_user(office)


@pytest.fixture
def desk(client: Client, ines):
    client.force_login(ines)
    return client


def test_the_list_shows_own_messages_only(desk, office):
    make_message(organisation=office, subject="Ours")
    make_message(subject="Theirs")
    page = desk.get("/messages/").content.decode()
    assert "Ours" in page
    assert "Theirs" not in page


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("state=dead", {"Dead"}),
        ("state=letters", {"Letter"}),
        ("q=omar+dead", {"Dead"}),
        ("q=nobody", set()),
        ("state=nonsense", {"Dead", "Letter", "Sent"}),
    ],
)
def test_the_list_is_narrowed(desk, office, query, expected):
    make_message(organisation=office, subject="Dead", state="dead", last_error="550 no")
    make_message(organisation=office, subject="Letter", channel="post")
    make_message(organisation=office, subject="Sent", state="sent", sent_at=NOW)
    page = desk.get(f"/messages/?{query}")
    assert {message.subject for message in page.context["page"]} == expected


def test_the_list_costs_the_same_for_many(desk, office, django_assert_max_num_queries):
    for _ in range(60):
        make_message(organisation=office)
        make_job(make_owned_system(organisation=office)[0], due_on=NOW.date().replace(year=2020))
    with django_assert_max_num_queries(16):
        desk.get("/messages/")


def test_a_message_shows_its_words_and_fate_but_runs_nothing(desk, office):
    message = make_message(
        organisation=office,
        state="dead",
        last_error="550 no such mailbox",
        body_text="Hello <script>alert(1)</script>",
        body_html="<p>Hello</p><script>alert(1)</script>",
        calendar_text="BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n",
        calendar_method="REQUEST",
    )
    page = desk.get(f"/messages/{message.public_id}/").content.decode()
    assert "550 no such mailbox" in page
    assert "BEGIN:VCALENDAR" in page
    assert "<script>alert" not in page


def test_a_message_can_be_taken_away_as_the_bytes_that_are_sent(desk, office):
    message = make_message(organisation=office)
    response = desk.get(f"/messages/{message.public_id}/file/")
    assert response["Content-Type"] == "message/rfc822"
    assert b"To: Omar <omar@home.example>\r\n" in response.content


def test_a_dead_message_is_sent_again_from_its_page(desk, office):
    message = make_message(organisation=office, state="dead", attempts=12)
    response = desk.post(f"/messages/{message.public_id}/again/")
    assert response.status_code == 302
    message.refresh_from_db()
    assert (message.state, message.attempts) == ("waiting", 0)


def test_a_letter_is_noted_as_posted(desk, office):
    message = make_message(organisation=office, channel="post")
    desk.post(f"/messages/{message.public_id}/posted/")
    message.refresh_from_db()
    assert message.state == "sent"


@pytest.mark.parametrize("act", ["again", "posted"])
def test_a_reader_looks_but_changes_nothing(client, office, act):
    message = make_message(organisation=office, state="dead")
    client.force_login(make_user(office, Membership.Role.READER))
    assert client.get(f"/messages/{message.public_id}/").status_code == 200
    assert client.post(f"/messages/{message.public_id}/{act}/").status_code == 403
    assert client.get(f"/messages/{message.public_id}/{act}/").status_code == 405


@pytest.mark.parametrize("path", ["", "file/"])
def test_a_stranger_finds_nothing(client, office, path):
    message = make_message(organisation=office)
    client.force_login(make_user(make_organisation()))
    assert client.get(f"/messages/{message.public_id}/{path}").status_code == 404


def leave_path(organisation, address="omar@home.example") -> str:
    return leave_address(organisation, address).removeprefix("http://localhost:8000")


def test_one_click_ends_marketing_without_cookies_or_redirect(office):
    # RFC 8058 §3.2: a POST without credentials, answered without a redirect.
    client = Client(enforce_csrf_checks=True)
    response = client.post(leave_path(office), {"List-Unsubscribe": "One-Click"})
    assert response.status_code == 200
    assert Suppression.objects.get().message_class == "marketing"
    question = consent.Question(
        organisation=office,
        person=None,
        address="OMAR@home.example",
        channel="email",
        message_class="marketing",
    )
    assert consent.why_not(question) == "This address asked not to be written to."


def test_a_look_at_the_link_changes_nothing(client, office):
    response = client.get(leave_path(office))
    assert response.status_code == 200
    assert "Stop these messages" in response.content.decode()
    assert Suppression.objects.count() == 0


def test_a_link_of_one_office_does_not_speak_for_another(client, office):
    other = make_organisation()
    client.post(leave_path(office))
    assert Suppression.objects.get().organisation == office
    assert leave_path(office) != leave_path(other)


def test_a_changed_link_is_not_found(client, office):
    path = leave_path(office)
    assert client.post(path.replace("/leave/", "/leave/0")).status_code == 404
    assert Suppression.objects.count() == 0


def test_leaving_is_written_into_the_ledger_of_the_person(client):
    system, omar = make_owned_system()
    allow(omar, at=NOW.replace(year=2020))
    client.post(leave_path(system.organisation, omar.email))
    newest = omar.preferences.first()
    assert (newest.allowed, newest.message_class) == (False, "marketing")


def test_an_offer_carries_the_one_click_headers_and_the_link(office):
    message = make_message(organisation=office, message_class="marketing")
    mail = wire_bytes(letter_of(Message.objects.get(pk=message.pk)))
    address = leave_address(office, "omar@home.example").encode()
    assert b"List-Unsubscribe: <" + address + b">\r\n" in mail
    assert b"List-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n" in mail
