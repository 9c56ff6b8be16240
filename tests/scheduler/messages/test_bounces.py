"""Mail that came back, as the report format of RFC 3464 and RFC 6522 tells it."""

from __future__ import annotations

import pytest

from scheduler.messages.bounces import note_bounce
from scheduler.messages.mailbox import poll
from scheduler.messages.senders import office_of, sender_of
from scheduler.models import Message
from tests.make import make_organisation
from tests.scheduler.messages.test_replies import Shelf
from tests.scheduler.messages.visits import NOW, make_message

pytestmark = pytest.mark.django_db


def report(message_id: str, action: str = "failed", quote: str = "text/rfc822-headers") -> bytes:
    # The shape of RFC 3464 appendix E.1.
    return (
        "From: Mail Delivery <mailer-daemon@home.example>\r\n"
        "Return-Path: <>\r\n"
        "MIME-Version: 1.0\r\n"
        'Content-Type: multipart/report; report-type=delivery-status; boundary="x"\r\n\r\n'
        "--x\r\n\r\nThe mail could not be delivered.\r\n"
        "--x\r\nContent-Type: message/delivery-status\r\n\r\n"
        "Reporting-MTA: dns; mx.home.example\r\n\r\n"
        "Final-Recipient: rfc822; omar@home.example\r\n"
        f"Action: {action}\r\nStatus: 5.1.1\r\n"
        "Diagnostic-Code: smtp; 550 no such mailbox\r\n\r\n"
        f"--x\r\nContent-Type: {quote}\r\n\r\n"
        f"Subject: Done\r\nMessage-ID: {message_id}\r\n\r\n"
        "--x--\r\n"
    ).encode()


@pytest.mark.parametrize("quote", ["text/rfc822-headers", "message/rfc822"])
def test_a_report_of_failure_marks_the_message_that_came_back(quote):
    message = make_message(state="sent", sent_at=NOW)
    assert note_bounce(report(message.message_id, quote=quote), now=NOW) == 1
    message.refresh_from_db()
    assert message.bounced_at == NOW
    assert message.last_error == "Came back: smtp; 550 no such mailbox"


@pytest.mark.parametrize("action", ["delayed", "delivered", "relayed"])
def test_other_reports_mark_nothing(action):
    message = make_message(state="sent", sent_at=NOW)
    assert note_bounce(report(message.message_id, action), now=NOW) == 0


def test_a_report_about_somebody_elses_mail_marks_nothing():
    make_message(state="sent", sent_at=NOW)
    assert note_bounce(report("<other@else.example>"), now=NOW) == 0
    assert note_bounce(b"Subject: no report at all\r\n\r\n", now=NOW) == 0


def test_the_poller_files_a_report_as_taken_and_twice_is_once():
    message = make_message(state="sent", sent_at=NOW)
    bounce = report(message.message_id)
    shelf = Shelf(bounce, bounce)
    poll(shelf, now=NOW)
    assert shelf.filed["0"] == "Taken"
    assert Message.objects.filter(bounced_at=NOW).count() == 1


@pytest.mark.parametrize(
    ("address", "expected"),
    [("", None), ("no address", None), ("office@office.example", "office@office.example")],
)
def test_an_office_without_a_usable_address_still_sends(address, expected):
    organisation = make_organisation(sender_email=address)
    party = office_of(organisation)
    assert (party.address if party else None) == expected


def test_the_sender_of_the_settings_may_be_written_with_a_name(settings):
    settings.DEFAULT_FROM_EMAIL = "Ebbmark <bookings@office.example>"
    assert sender_of(make_organisation()).address == "bookings@office.example"
