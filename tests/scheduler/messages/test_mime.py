"""The message on the wire, read from its bytes."""

from __future__ import annotations

import email
import email.policy
import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.calendar_invites.entries import Entry, Party
from scheduler.calendar_invites.objects import invitation
from scheduler.messages.mime import Letter, wire_bytes

OFFICE = Party("bookings+t0ken@office.example", "Larkholt, Aftercare")
OMAR = Party("omar@home.example", "Omar")
OBJECT = invitation(
    Entry(
        uid="visit-1@office.example",
        sequence=0,
        stamp=datetime(2027, 3, 1, 9, tzinfo=UTC),
        starts=datetime(2027, 3, 12, 9, tzinfo=UTC),
        ends=datetime(2027, 3, 12, 11, tzinfo=UTC),
        zone="Europe/London",
        summary="Entleerung der Klärgrube – “Fold Farm”",
    ),
    organizer=OFFICE,
    attendee=OMAR,
)
LETTER = Letter(
    message_id="<0123@office.example>",
    written_at=datetime(2027, 3, 1, 9, tzinfo=UTC),
    sender=OFFICE,
    recipient=OMAR,
    subject="We are coming",
    text="Hello Omar,\n\nwe are coming.\n",
    html="<p>Hello Omar</p>\n",
    calendar_object=OBJECT,
    calendar_method="REQUEST",
)


def read(letter: Letter):
    return email.message_from_bytes(wire_bytes(letter), policy=email.policy.default)


def test_an_invitation_has_its_calendar_part_last_among_the_alternatives():
    # RFC 2046 §5.1.4: the last alternative is the richest; RFC 6047 §2.4.
    message = read(LETTER)
    assert message.get_content_type() == "multipart/mixed"
    alternative, copy = message.iter_parts()
    kinds = [part.get_content_type() for part in alternative.iter_parts()]
    assert kinds == ["text/plain", "text/html", "text/calendar"]
    assert copy.get_content_type() == "application/ics"


def test_the_calendar_part_names_its_method_and_charset_and_keeps_every_octet():
    # RFC 6047 §2.4: method equal to METHOD, charset present; §2.5: safe over a 7-bit path.
    parts = {part.get_content_type(): part for part in read(LETTER).walk()}
    calendar = parts["text/calendar"]
    assert calendar.get_param("method") == "REQUEST"
    assert calendar.get_param("charset").upper() == "UTF-8"
    assert calendar.get_param("component") == "VEVENT"
    assert calendar["Content-Transfer-Encoding"] == "base64"
    assert calendar.get_payload(decode=True) == OBJECT
    assert parts["application/ics"].get_payload(decode=True) == OBJECT
    assert calendar["Content-Disposition"] is None


def test_every_line_is_ascii_ends_in_crlf_and_is_short_enough():
    # RFC 5322 §2.1.1 and §2.2.
    content = wire_bytes(replace(LETTER, subject="Ü" * 300, text="ü" * 3000))
    assert content.isascii()
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", content)
    assert max(map(len, content.split(b"\r\n"))) <= 78


def test_each_header_is_there_once():
    # RFC 5322 §3.6, RFC 3834 §5.
    headers = wire_bytes(LETTER).split(b"\r\n\r\n")[0].lower()
    for name in (
        b"from", b"to", b"date", b"message-id", b"subject", b"reply-to", b"mime-version",
        b"auto-submitted",
    ):  # fmt: skip
        assert len(re.findall(rb"(?m)^" + name + rb":", headers)) == 1, name
    assert b"auto-submitted: auto-generated" in headers
    assert b"list-unsubscribe" not in headers


def test_organizer_sender_and_reply_address_are_one():
    message = read(LETTER)
    assert b"ORGANIZER" in OBJECT
    assert b"mailto:bookings+t0ken@office.example" in OBJECT.replace(b"\r\n ", b"")
    for header in ("From", "Reply-To"):
        (address,) = message[header].addresses
        assert address.addr_spec == OFFICE.address


def test_what_answers_a_message_says_so():
    # RFC 3834 §5: a response is auto-replied, never auto-generated.
    assert read(replace(LETTER, is_response=True))["Auto-Submitted"] == "auto-replied"


def test_the_one_click_link_stays_whole_however_long():
    # RFC 8058 §3.1: both headers, one https URI; RFC 2369: in angle brackets.
    link = "https://office.example/leave/" + "x" * 200
    content = wire_bytes(replace(LETTER, unsubscribe_url=link))
    assert f"List-Unsubscribe: <{link}>\r\n".encode() in content
    assert b"List-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n" in content


def test_a_link_that_would_break_the_line_limit_is_refused():
    with pytest.raises(ValueError, match="does not fit one line"):
        wire_bytes(replace(LETTER, unsubscribe_url="https://office.example/" + "x" * 1000))


def test_the_same_letter_is_the_same_bytes():
    assert wire_bytes(LETTER) == wire_bytes(replace(LETTER))


@given(name=st.text(), subject=st.text())
def test_nothing_typed_becomes_a_header(name, subject):
    usual = {key.lower() for key in read(LETTER)}
    typed = replace(LETTER, recipient=Party("omar@home.example", name), subject=subject)
    message = read(typed)
    assert {key.lower() for key in message} == usual
    assert [address.addr_spec for address in message["To"].addresses] == ["omar@home.example"]


def test_a_letter_without_calendar_is_words_only():
    message = read(replace(LETTER, calendar_object=b"", calendar_method=""))
    assert message.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in message.iter_parts()] == ["text/plain", "text/html"]
