"""Calendar objects against the rules of RFC 5545 and RFC 5546, read from the bytes."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from scheduler.calendar_invites.entries import (
    Entry,
    Party,
    Terms,
    later_stamp,
    mailbox,
    one_line,
    sequence_after,
)
from scheduler.calendar_invites.objects import (
    cancellation,
    counter_declined,
    feed,
    invitation,
)

LONDON = ZoneInfo("Europe/London")
OFFICE = Party("bookings+t0ken@office.example", 'Larkholt "Office", Ltd; north')
OMAR = Party("omar@home.example", "Omar")
# RFC 5545 §3.1: name *(";" param) ":" value, with control characters in none of them.
CONTENT_LINE = re.compile(
    rb'[A-Z0-9-]+(?:;[A-Z0-9-]+=(?:"[^"\x00-\x08\x0a-\x1f\x7f]*"|[^";:,\x00-\x08\x0a-\x1f\x7f]*))*'
    rb":[^\x00-\x08\x0a-\x1f\x7f]*"
)


def entry(**fields: object) -> Entry:
    facts: dict[str, object] = {
        "uid": "visit-1@office.example",
        "sequence": 0,
        "stamp": datetime(2027, 3, 1, 9, tzinfo=UTC),
        "starts": datetime(2027, 3, 12, 9, tzinfo=LONDON),
        "ends": datetime(2027, 3, 12, 11, tzinfo=LONDON),
        "zone": "Europe/London",
        "summary": "Emptying of the septic tank",
    }
    return Entry(**(facts | fields))  # type: ignore[arg-type]


def unfolded(content: bytes) -> list[bytes]:
    assert content.endswith(b"\r\n")
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", content)
    assert max(len(line) for line in content.split(b"\r\n")) <= 75
    return content.replace(b"\r\n ", b"").split(b"\r\n")[:-1]


def event_lines(content: bytes) -> list[bytes]:
    lines = unfolded(content)
    return lines[lines.index(b"BEGIN:VEVENT") : lines.index(b"END:VEVENT")]


def names(content: bytes) -> list[bytes]:
    return [re.split(rb"[;:]", line, maxsplit=1)[0] for line in event_lines(content)]


@given(summary=st.text(), description=st.text(), location=st.text(), name=st.text())
def test_whatever_people_type_stays_inside_its_own_line(summary, description, location, name):
    # RFC 5545 §3.1: CRLF, 75 octets, one content line each; nothing typed may add one.
    plain = entry(summary="x", description="x", location="x")
    typed = entry(
        summary=summary, description=description + "x", location=location.replace(" ", "") + "x"
    )
    made = invitation(typed, organizer=OFFICE, attendee=Party("omar@home.example", name))
    lines = unfolded(made)
    assert all(CONTENT_LINE.fullmatch(line) for line in lines)
    assert names(made) == names(invitation(plain, organizer=OFFICE, attendee=OMAR))
    assert made.decode()


def test_a_line_break_in_a_summary_invites_nobody():
    made = invitation(
        entry(summary="Visit\r\nATTENDEE:mailto:sid@else.example"), organizer=OFFICE, attendee=OMAR
    )
    assert names(made).count(b"ATTENDEE") == 1
    assert Calendar.from_ical(made).walk("VEVENT")[0]["SUMMARY"] == (
        "Visit ATTENDEE:mailto:sid@else.example"
    )


def test_an_invitation_has_what_a_request_must_have():
    # RFC 5546 §3.2.2, the table of a REQUEST; RFC 5545 §3.6 and §3.6.1.
    made = invitation(entry(remind_before=(timedelta(days=1),)), organizer=OFFICE, attendee=OMAR)
    lines, present = unfolded(made), names(made)
    for once in (b"UID", b"DTSTAMP", b"DTSTART", b"DTEND", b"SUMMARY", b"ORGANIZER", b"ATTENDEE"):
        assert present.count(once) == 1, once
    assert lines[0] == b"BEGIN:VCALENDAR"
    assert lines[-1] == b"END:VCALENDAR"
    assert [lines.count(line) for line in (b"VERSION:2.0", b"METHOD:REQUEST")] == [1, 1]
    assert sum(line.startswith(b"PRODID:") for line in lines) == 1
    assert b"BEGIN:VALARM" in lines
    assert b"REQUEST-STATUS" not in present


def test_an_invitation_asks_one_attendee_for_an_answer():
    made = invitation(entry(), organizer=OFFICE, attendee=OMAR)
    attendee = next(line for line in event_lines(made) if line.startswith(b"ATTENDEE"))
    assert attendee.endswith(b":mailto:omar@home.example")
    assert {b"RSVP=TRUE", b"PARTSTAT=NEEDS-ACTION", b"CN=Omar"} <= set(re.split(rb"[;:]", attendee))


def test_an_update_of_words_keeps_the_answer_given():
    made = invitation(entry(), organizer=OFFICE, attendee=OMAR, answered="ACCEPTED")
    attendee = next(line for line in event_lines(made) if line.startswith(b"ATTENDEE"))
    assert b"PARTSTAT=ACCEPTED" in attendee
    assert b"RSVP" not in attendee


def test_a_cancellation_has_what_a_cancel_must_have():
    # RFC 5546 §3.2.5: SEQUENCE present and raised, STATUS:CANCELLED, no alarm.
    made = cancellation(
        entry(sequence=1, remind_before=(timedelta(days=1),)), organizer=OFFICE, attendee=OMAR
    )
    lines = event_lines(made)
    assert {b"SEQUENCE:1", b"STATUS:CANCELLED", b"UID:visit-1@office.example"} <= set(lines)
    assert b"BEGIN:VALARM" not in lines
    assert b"METHOD:CANCEL" in unfolded(made)
    assert names(made).count(b"STATUS") == 1


def test_a_refused_counter_keeps_the_sequence_and_says_why():
    # RFC 5546 §3.2.8.
    made = counter_declined(entry(sequence=2), organizer=OFFICE, attendee=OMAR, comment="No, sorry")
    assert {b"SEQUENCE:2", b"COMMENT:No\\, sorry"} <= set(event_lines(made))
    assert b"METHOD:DECLINECOUNTER" in unfolded(made)
    assert b"BEGIN:VALARM" not in event_lines(made)


def test_a_visit_at_ten_stays_at_ten_across_the_change_of_clocks():
    for day in (date(2027, 3, 27), date(2027, 3, 28), date(2027, 10, 31), date(2027, 11, 1)):
        starts = datetime(day.year, day.month, day.day, 10, tzinfo=LONDON)
        made = invitation(
            entry(starts=starts.astimezone(UTC), ends=starts + timedelta(hours=1)),
            organizer=OFFICE,
            attendee=OMAR,
        )
        assert f"DTSTART;TZID=Europe/London:{day:%Y%m%d}T100000".encode() in event_lines(made)


def test_the_hour_the_clocks_repeat_is_written_in_universal_time():
    # 01:30 on 31 October 2027 comes twice; a local time names the first (RFC 5545 §3.3.5).
    first = datetime(2027, 10, 31, 0, 30, tzinfo=UTC)
    second = first + timedelta(hours=1)
    for starts, line in (
        (first, b"DTSTART;TZID=Europe/London:20271031T013000"),
        (second, b"DTSTART:20271031T013000Z"),
    ):
        made = invitation(
            entry(starts=starts, ends=starts + timedelta(hours=3)), organizer=OFFICE, attendee=OMAR
        )
        assert line in event_lines(made)
        assert Calendar.from_ical(made).walk("VEVENT")[0]["DTSTART"].dt.astimezone(UTC) == starts


def test_a_zone_without_rules_is_written_in_universal_time():
    starts = datetime(2027, 3, 12, 9, tzinfo=UTC)
    made = invitation(
        entry(zone="Africa/Casablanca", starts=starts, ends=starts + timedelta(hours=1)),
        organizer=OFFICE,
        attendee=OMAR,
    )
    assert b"DTSTART:20270312T090000Z" in event_lines(made)
    assert b"BEGIN:VTIMEZONE" not in unfolded(made)


def test_a_visit_known_by_its_day_ends_on_the_next_day():
    # RFC 5545 §3.8.2.2: DTEND has the type of DTSTART and is not part of the event.
    made = invitation(
        entry(starts=date(2027, 3, 28), ends=date(2027, 3, 29)), organizer=OFFICE, attendee=OMAR
    )
    assert {b"DTSTART;VALUE=DATE:20270328", b"DTEND;VALUE=DATE:20270329"} <= set(event_lines(made))
    assert b"BEGIN:VTIMEZONE" not in unfolded(made)


def test_every_zone_named_is_described_once():
    made = feed([entry(uid="a"), entry(uid="b")], name="Round", uid="f")
    lines = unfolded(made)
    assert lines.count(b"TZID:Europe/London") == 1
    assert lines.count(b"BEGIN:VEVENT") == 2


def test_a_position_is_latitude_semicolon_longitude():
    # RFC 5545 §3.8.1.6.
    made = invitation(entry(position=(52.5, -1.25)), organizer=OFFICE, attendee=OMAR)
    assert b"GEO:52.5;-1.25" in event_lines(made)


def test_a_feed_gives_its_interval_a_type_and_invites_nobody():
    # RFC 7986 §5.7: VALUE=DURATION is required. RFC 5545 §3.8.4.3: no ORGANIZER.
    made = feed([entry()], name="Omar's visits", uid="feed-1")
    lines = unfolded(made)
    assert {b"REFRESH-INTERVAL;VALUE=DURATION:PT6H", b"NAME:Omar's visits", b"UID:feed-1"} <= set(
        lines
    )
    assert not [line for line in lines if re.match(rb"METHOD|ATTENDEE|ORGANIZER", line)]


def test_the_same_facts_give_the_same_bytes_in_any_order():
    a, b = entry(uid="a"), entry(uid="b")
    one = feed([a, b], name="R", uid="f")
    other = feed([b, a], name="R", uid="f")
    assert one == other
    assert invitation(a, organizer=OFFICE, attendee=OMAR) == invitation(
        entry(uid="a"), organizer=OFFICE, attendee=OMAR
    )


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, 4),
        ({"starts": datetime(2027, 3, 12, 10, tzinfo=UTC)}, 5),
        ({"ends": datetime(2027, 3, 12, 12, tzinfo=UTC)}, 5),
        ({"location": "Elsewhere"}, 5),
        ({"status": "CANCELLED"}, 5),
    ],
)
def test_sequence_rises_only_when_what_was_agreed_changes(changed, expected):
    # RFC 5546 §2.1.4.
    terms = {
        "starts": datetime(2027, 3, 12, 9, tzinfo=UTC),
        "ends": datetime(2027, 3, 12, 11, tzinfo=UTC),
        "location": "Fold Farm",
    }
    assert sequence_after(4, before=Terms(**terms), after=Terms(**(terms | changed))) == expected


def test_a_second_revision_within_one_second_still_has_a_later_stamp():
    now = datetime(2027, 3, 1, 9, 0, 0, 500_000, tzinfo=UTC)
    first = later_stamp(datetime(2027, 1, 1, tzinfo=UTC), now)
    assert first == datetime(2027, 3, 1, 9, tzinfo=UTC)
    assert later_stamp(first, now) == first + timedelta(seconds=1)


@pytest.mark.parametrize(
    "address",
    [
        "",
        "omar",
        "omar@",
        "omar@home.example\r\nBcc: sid@else.example",
        "omar@home.example, sid@else.example",
        "<omar@home.example>",
        'omar"@home.example',
        "omar@home..example",
        "ömar@home.example",
        "omar@home.example;cc=x",
        "o" * 250 + "@home.example",
    ],
)
def test_what_is_not_one_mailbox_is_refused(address):
    with pytest.raises(ValueError, match="e-mail address"):
        mailbox(address)


def test_a_domain_is_written_in_its_ascii_form():
    # From memory: the usual example of RFC 3490's ToASCII.
    assert mailbox(" omar@bücher.example ") == "omar@xn--bcher-kva.example"


def test_control_and_direction_characters_become_spaces():
    assert one_line("a\r\nb\x00c\u202ed\u2028e") == "a b c d e"


@pytest.mark.parametrize(
    "fields",
    [
        {"ends": datetime(2027, 3, 12, 9, tzinfo=LONDON)},
        {"starts": datetime(2027, 3, 12, 8)},  # noqa: DTZ001
        {"ends": date(2027, 3, 13)},
        {"sequence": -1},
        {"stamp": datetime(2027, 7, 1, 9, tzinfo=LONDON)},
    ],
)
def test_an_entry_that_cannot_be_written_is_refused(fields):
    with pytest.raises((ValueError, TypeError)):
        entry(**fields)
