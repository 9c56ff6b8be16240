"""Which answers are believed: the table of cases, each with its reason."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from icalendar import Calendar

from customers.models import Membership
from scheduler.calendar_invites.replies import passes_dmarc
from scheduler.messages import telling
from scheduler.messages.mailbox import delivered_to, poll
from scheduler.messages.outbox import drain
from scheduler.messages.replies import apply_reply, keep_our_time, note_seen, take_reply
from scheduler.messages.senders import organizer_of
from scheduler.models import CalendarEvent, DayRequest, Message, Reply
from tests.make import make_user
from tests.scheduler.messages.answers import AUTHSERV, PASS, answer_mail, answer_object
from tests.scheduler.messages.visits import NOW, Sink, make_visit

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _mail_server(settings):
    settings.MAIL_AUTHSERV_ID = AUTHSERV
    settings.REPLIES_TRUST_TOKEN = False


@pytest.fixture
def event() -> CalendarEvent:
    telling.tell_appointment_agreed(appointment=make_visit(), now=NOW)
    drain(clock=lambda: NOW, post=Sink())
    return CalendarEvent.objects.get()


def take_in(mail: bytes) -> Reply | None:
    return apply_reply(mail=mail, delivered_to=delivered_to(mail), now=NOW)


def test_a_proven_answer_is_applied(event):
    reply = take_in(answer_mail(event))
    event.refresh_from_db()
    assert (reply.verdict, event.participation) == ("applied", "ACCEPTED")
    assert event.reply_sequence == 0


OTHER = "sid@else.example"
CASES = [
    ({"results": ""}, "review", "Nothing proves"),
    ({"results": PASS.replace(AUTHSERV, "mx.else.example")}, "review", "Nothing proves"),
    ({"results": PASS.replace("pass (", "fail (")}, "review", "Nothing proves"),
    ({"results": f'{AUTHSERV}; spf=pass (dmarc=pass) smtp.mailfrom="dmarc=pass"'}, "review", ""),
    # RFC 6047 §2.2.1: spoof@ declining for b@ must be ignored.
    ({"sender": OTHER}, "review", "differ"),
    ({"attendee": OTHER, "sender": OTHER}, "refused", "somebody else"),
    ({"delivered_to": "bookings@office.example"}, "refused", "address of this invitation"),
    ({"delivered_to": "bookings+aaaaaaaa@office.example"}, "refused", "address of this"),
    ({"sequence": 1}, "refused", "never sent"),
    ({"method": "REQUEST"}, "refused", "REQUEST is no answer"),
    ({"method": "CANCEL"}, "refused", "CANCEL is no answer"),
    ({"partstat": "X-MAYBE"}, "review", "do not know"),
    ({"headers": {"Auto-Submitted": "auto-replied"}}, "ignored", "automatic"),
    ({"headers": {"Return-Path": "<>"}}, "ignored", "automatic"),
]


@pytest.mark.parametrize(("changes", "verdict", "reason"), CASES)
def test_an_answer_that_is_not_proven_changes_nothing(event, changes, verdict, reason):
    reply = take_in(answer_mail(event, **changes))
    event.refresh_from_db()
    assert reply.verdict == verdict
    assert reason.lower() in reply.reason.lower()
    assert (event.participation, event.reply_sequence) == ("NEEDS-ACTION", None)


def test_the_token_of_another_event_does_not_fit(event):
    telling.tell_appointment_agreed(appointment=make_visit(), now=NOW)
    other = CalendarEvent.objects.exclude(pk=event.pk).get()
    reply = take_in(answer_mail(event, delivered_to=organizer_of(other).address))
    assert reply.verdict == "refused"


def test_the_same_mail_twice_is_one_reply(event):
    mail = answer_mail(event)
    assert take_in(mail) == take_in(mail)
    assert Reply.objects.count() == 1


def test_an_answer_replayed_under_a_new_id_is_a_duplicate(event):
    take_in(answer_mail(event, partstat="DECLINED", stamp=NOW + timedelta(hours=3)))
    again = take_in(answer_mail(event, mail_id="<2@home.example>", stamp=NOW + timedelta(hours=2)))
    event.refresh_from_db()
    assert (again.verdict, event.participation) == ("duplicate", "DECLINED")


def test_a_changed_mind_counts(event):
    take_in(answer_mail(event, partstat="DECLINED"))
    later = NOW + timedelta(hours=5)
    take_in(answer_mail(event, mail_id="<2@home.example>", stamp=later))
    event.refresh_from_db()
    assert event.participation == "ACCEPTED"


def test_an_answer_to_a_time_since_changed_is_stale(event):
    event.sequence = 1
    event.save()
    assert take_in(answer_mail(event, sequence=0)).verdict == "stale"


def test_a_no_asks_the_office_for_another_day_and_cancels_nothing(event):
    take_in(answer_mail(event, partstat="DECLINED"))
    request = DayRequest.objects.get()
    assert request.job == event.appointment.job
    event.appointment.refresh_from_db()
    assert event.appointment.cancelled_at is None


def counter(event, **changes):
    start = event.starts_at + timedelta(days=2)
    more = [f"DTSTART:{start:%Y%m%dT%H%M%SZ}", f"DTEND:{start + timedelta(hours=2):%Y%m%dT%H%M%SZ}"]
    return answer_mail(event, method="COUNTER", partstat="TENTATIVE", more=more, **changes), start


def test_a_proposed_time_waits_for_the_office(event):
    mail, start = counter(event)
    reply = take_in(mail)
    assert (reply.verdict, reply.proposed_start) == ("review", start)
    assert DayRequest.objects.get().days == [start.date().isoformat()]


def test_a_proposed_time_can_be_declined_and_the_visit_stays(event):
    # RFC 5546 §3.2.8: SEQUENCE echoed; RFC 3834 §5: a response is auto-replied.
    reply = take_in(counter(event)[0])
    ines = make_user(event.organisation)
    message = keep_our_time(reply=reply, by=ines, now=NOW)
    (stated,) = Calendar.from_ical(message.calendar_text.encode()).walk("VEVENT")
    assert (message.calendar_method, stated["SEQUENCE"]) == ("DECLINECOUNTER", 0)
    sink = Sink()
    drain(clock=lambda: NOW, post=sink)
    (mail,) = sink.taken
    assert b"Auto-Submitted: auto-replied" in mail
    assert keep_our_time(reply=reply, by=ines, now=NOW) is None


def test_somebody_who_knows_the_sender_may_take_the_answer(event):
    reply = take_in(answer_mail(event, results=""))
    ines = make_user(event.organisation)
    assert take_reply(reply=reply, by=ines, now=NOW)
    assert not take_reply(reply=reply, by=ines, now=NOW)
    event.refresh_from_db()
    assert event.participation == "ACCEPTED"


def test_a_reader_takes_no_answer(event):
    reply = take_in(answer_mail(event, results=""))
    reader = make_user(event.organisation, Membership.Role.READER)
    for verb in (take_reply, note_seen, keep_our_time):
        with pytest.raises(PermissionDenied):
            verb(reply=reply, by=reader, now=NOW)


def test_the_operator_may_let_the_token_do(event, settings):
    settings.REPLIES_TRUST_TOKEN = True
    assert take_in(answer_mail(event, results="")).verdict == "applied"


def test_words_without_a_calendar_are_left_for_somebody_to_read(event):
    invitation = Message.objects.get()
    mail = (
        f"Delivered-To: {organizer_of(event).address}\r\nFrom: omar@home.example\r\n"
        f"Message-ID: <w@home.example>\r\nIn-Reply-To: {invitation.message_id}\r\n\r\n"
        "The gate is broken <script>alert(1)</script>\r\n"
    ).encode()
    reply = take_in(mail)
    assert (reply.verdict, reply.event) == ("review", event)
    assert "gate is broken" in reply.raw


BAD_OBJECTS = [
    (b"BEGIN:VCALENDAR\r\n" + b"BEGIN:VEVENT\r\nEND:VEVENT\r\n" * 30, "components"),
    (b"X" * 70_000, "bytes"),
    (
        b"BEGIN:VCALENDAR\r\n" + b"BEGIN:VEVENT\r\nEND:VEVENT\r\n" * 10_000 + b"END:VCALENDAR\r\n",
        "bytes",
    ),
    # Components one in another as deep as fits, closed and not closed.
    (b"BEGIN:VEVENT\r\n" * 2_000 + b"END:VEVENT\r\n" * 2_000, "components"),
    (b"BEGIN:VCALENDAR\r\n" + b"BEGIN:X\r\n" * 6_000, "components"),
    (b"not a calendar", "cannot be read"),
    (b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n", "0 events"),
]


@pytest.mark.parametrize(("content", "reason"), BAD_OBJECTS)
def test_a_bad_object_is_refused_with_its_reason(event, content, reason):
    invitation = Message.objects.get()
    mail = answer_mail(event, content=content, headers={"In-Reply-To": invitation.message_id})
    reply = take_in(mail)
    assert reply.verdict == "refused"
    assert reason in reply.reason


def test_mail_beyond_the_limit_or_about_nothing_of_ours_is_not_kept(event):
    assert take_in(answer_mail(event) + b"x" * 300_000) is None
    assert take_in(answer_mail(event, uid="other@else.example")) is None
    assert take_in(b"\xff\xfe garbage") is None
    assert Reply.objects.count() == 0


MULTIPART = 'Content-Type: multipart/mixed; boundary="{0}"\r\n\r\n--{0}\r\n'
FORWARDED = "Content-Type: message/rfc822\r\n\r\n"


@pytest.mark.parametrize("part", [MULTIPART, FORWARDED])
def test_a_mail_nested_in_itself_a_thousand_times_is_put_aside(event, part):
    deep = "".join(part.format(level) for level in range(1_000)).encode()
    invitation = Message.objects.get()
    head = f"Delivered-To: {organizer_of(event).address}\r\nFrom: omar@home.example\r\n"
    head += f"Message-ID: <deep@home.example>\r\nIn-Reply-To: {invitation.message_id}\r\n"
    shelf = Shelf(head.encode() + deep, answer_mail(event))
    assert poll(shelf, now=NOW).taken == 1  # and what comes after it is read
    event.refresh_from_db()
    assert shelf.filed["0"] == "Not-ours"
    assert event.participation == "ACCEPTED"


def test_a_calendar_that_recurs_for_ever_is_not_worked_out(event):
    # A rule without an end would be ten thousand years of seconds.
    bomb = answer_object(event, more=["RRULE:FREQ=SECONDLY;INTERVAL=1"], check=False)
    reply = take_in(answer_mail(event, content=bomb))
    event.refresh_from_db()
    assert reply.verdict in {"applied", "refused", "review"}
    assert CalendarEvent.objects.count() == 1


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    at=st.lists(st.tuples(st.integers(0, 2000), st.integers(0, 255)), min_size=1, max_size=8),
    more=st.sampled_from(
        [
            "SEQUENCE:99999999999999999999",
            "DTSTART:00010101T000000",
            "DTSTART;TZID=Nowhere/At/All:99991231T235959",
            "DTEND;VALUE=DATE:20270101",
            "COMMENT:\x00\x01",
            "RECURRENCE-ID:20270101T000000Z",
        ]
    ),
)
def test_no_mail_whatever_its_octets_stops_the_poller(event, at, more):
    mail = bytearray(answer_mail(event, content=answer_object(event, more=[more], check=False)))
    for place, octet in at:
        mail[place % len(mail)] = octet
    with transaction.atomic():
        reply = take_in(bytes(mail))
        assert reply is None or reply.verdict in Reply.Verdict.values
        transaction.set_rollback(True)


class Shelf:
    """A mailbox in memory."""

    def __init__(self, *mails: bytes) -> None:
        self.mails = {str(number): mail for number, mail in enumerate(mails)}
        self.filed: dict[str, str] = {}

    def waiting(self) -> list[str]:
        return [mail for mail in self.mails if mail not in self.filed]

    def size(self, mail: str) -> int:
        return len(self.mails[mail])

    def read(self, mail: str) -> bytes:
        return self.mails[mail]

    def file_away(self, mail: str, folder: str) -> None:
        self.filed[mail] = folder


def test_a_mailbox_is_emptied_and_each_mail_filed(event):
    shelf = Shelf(answer_mail(event), b"Subject: spam\r\n\r\nhi", b"x" * 5_000_000)
    result = poll(shelf, now=NOW)
    assert (result.taken, result.unknown) == (1, 2)
    assert shelf.filed == {"0": "Taken", "1": "Not-ours", "2": "Not-ours"}
    assert poll(shelf, now=NOW).taken == 0


def test_a_crash_before_filing_only_repeats_what_changes_nothing(event):
    shelf = Shelf(answer_mail(event))
    poll(shelf, now=NOW)
    shelf.filed.clear()
    poll(shelf, now=NOW)
    assert Reply.objects.count() == 1


def test_the_address_is_that_of_the_server_not_what_the_sender_wrote_below():
    mail = b"Delivered-To: real@office.example\r\nDelivered-To: forged@office.example\r\n\r\n"
    assert delivered_to(mail) == "real@office.example"


@pytest.mark.parametrize(
    ("results", "passes"),
    [
        ((PASS,), True),
        ((PASS.replace("dmarc=pass", "dmarc=pass;"),), True),
        (("mx.else.example; dmarc=pass", PASS), True),
        ((f"{AUTHSERV}; dmarc=fail",), False),
        ((f"{AUTHSERV}.evil.example; dmarc=pass",), False),
        ((), False),
    ],
)
def test_only_our_own_mail_server_is_believed(results, passes):
    # RFC 8601 §2.2: authserv-id first, then the findings.
    assert passes_dmarc(results, AUTHSERV) is passes
    assert not passes_dmarc(results, "")
