"""What is written when a visit is agreed, moved or cancelled."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from icalendar import Calendar

from customers.models import Party
from scheduler.messages import telling
from scheduler.messages.outbox import drain
from scheduler.models import CalendarEvent, Job, Message
from tests.make import make_crew, make_person
from tests.scheduler.messages.visits import (
    NOW,
    Sink,
    add_party,
    make_owned_system,
    make_round,
    make_visit,
)

pytestmark = pytest.mark.django_db


def event_in(message: Message) -> object:
    return Calendar.from_ical(message.calendar_text.encode()).walk("VEVENT")[0]


def send_everything(now=NOW) -> list[bytes]:
    sink = Sink()
    drain(clock=lambda: now, post=sink)
    return sink.taken


def test_an_agreed_visit_invites_its_owner():
    visit = make_visit()
    (message,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    assert message.calendar_method == "REQUEST"
    assert "Friday 18 June 2027, between 09:00 and 11:00" in message.body_text
    event = event_in(message)
    assert event["DTSTART"].dt == visit.starts_at
    assert event["ATTENDEE"] == f"mailto:{message.to_address}"
    assert event["SEQUENCE"] == 0


def test_telling_twice_writes_once():
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    assert telling.tell_appointment_agreed(appointment=visit, now=NOW + timedelta(hours=1)) == []
    assert Message.objects.count() == 1
    assert CalendarEvent.objects.get().sequence == 0


def test_each_person_gets_a_message_that_names_nobody_else():
    system, owner = make_owned_system()
    lodger = make_person(system.organisation, name="Lodger")
    add_party(system, lodger, Party.Role.OCCUPIER)
    told = telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    assert {message.to_address for message in told} == {owner.email, lodger.email}
    first, second = sorted(told, key=lambda message: message.to_name)
    assert lodger.email in first.calendar_text
    assert lodger.email not in second.calendar_text
    assert first.event != second.event


def test_somebody_who_sold_up_is_not_told():
    system, _ = make_owned_system()
    gone = make_person(system.organisation)
    add_party(system, gone, until=NOW.date() - timedelta(days=1))
    told = telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    assert gone.email not in {message.to_address for message in told}


def test_a_moved_visit_is_an_update_with_a_raised_sequence():
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    send_everything()
    visit.starts_at += timedelta(days=3)
    visit.ends_at += timedelta(days=3)
    visit.save()
    (message,) = telling.tell_appointment_moved(appointment=visit, now=NOW + timedelta(hours=1))
    event = event_in(message)
    assert (event["SEQUENCE"], event["DTSTART"].dt) == (1, visit.starts_at)
    assert "It was Friday 18 June 2027" in message.body_text
    assert "Monday 21 June 2027" in message.subject


def test_a_visit_moved_before_anything_was_sent_is_simply_an_invitation():
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    visit.starts_at += timedelta(days=3)
    visit.ends_at += timedelta(days=3)
    visit.save()
    (message,) = telling.tell_appointment_moved(appointment=visit, now=NOW)
    assert message.template == "invite"
    assert len(send_everything()) == 1
    assert Message.objects.filter(state="dropped").count() == 1


def test_a_change_of_words_keeps_the_sequence_and_makes_the_stamp_later():
    # RFC 5546 §3.2.2.2 and §2.1.5.
    visit = make_visit()
    (first,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    send_everything()
    organisation = visit.job.organisation
    organisation.phone = "01632 960999"
    organisation.save()
    (second,) = telling.tell_appointment_moved(appointment=visit, now=NOW)
    before, after = event_in(first), event_in(second)
    assert before["SEQUENCE"] == after["SEQUENCE"] == 0
    assert after["DTSTAMP"].dt > before["DTSTAMP"].dt


def test_a_cancelled_visit_is_taken_out_of_the_calendar_it_went_into():
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    send_everything()
    visit.cancelled_at = NOW
    visit.save()
    (message,) = telling.tell_appointment_cancelled(
        appointment=visit, now=NOW, reason="the lane is flooded"
    )
    event = event_in(message)
    assert (message.calendar_method, event["SEQUENCE"], event["STATUS"]) == (
        "CANCEL",
        1,
        "CANCELLED",
    )
    assert "the lane is flooded" in message.body_text
    assert telling.tell_appointment_cancelled(appointment=visit, now=NOW) == []


def test_a_visit_cancelled_before_anybody_heard_of_it_sends_nothing():
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    visit.cancelled_at = NOW
    visit.save()
    assert telling.tell_appointment_cancelled(appointment=visit, now=NOW) == []
    assert send_everything() == []


def test_an_owner_who_leaves_loses_the_visit_and_the_new_one_gets_it():
    system, omar = make_owned_system()
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    send_everything()
    omar.parties.update(until=NOW.date() - timedelta(days=1))
    buyer = make_person(system.organisation)
    add_party(system, buyer)
    telling.tell_appointment_moved(appointment=visit, now=NOW + timedelta(hours=1))
    told = Message.objects.exclude(state="sent")
    assert set(told.values_list("to_address", "calendar_method")) == {
        (omar.email, "CANCEL"),
        (buyer.email, "REQUEST"),
    }


def test_an_offer_puts_nothing_into_a_calendar():
    visit = make_visit(agreed_at=None)
    (message,) = telling.tell_day_offered(appointment=visit, now=NOW)
    assert message.calendar_text == ""
    assert CalendarEvent.objects.count() == 0
    assert telling.tell_day_offered(appointment=visit, now=NOW) == []


def test_an_offer_taken_back_is_said_only_to_who_may_have_read_it():
    unread, read = make_visit(agreed_at=None), make_visit(agreed_at=None)
    for visit in (read, unread):
        telling.tell_day_offered(appointment=visit, now=NOW)
        visit.cancelled_at = NOW
        if visit is read:
            send_everything()
    assert telling.tell_appointment_cancelled(appointment=unread, now=NOW) == []
    (message,) = telling.tell_appointment_cancelled(appointment=read, now=NOW)
    assert message.template == "cancellation"


def test_an_accepted_round_tells_owners_and_crew_once():
    visits = [make_visit()]
    planned = make_round(*visits)
    told = telling.tell_round_accepted(planned=planned, now=NOW)
    assert sorted(message.template for message in told) == ["crew_round", "invite"]
    assert telling.tell_round_accepted(planned=planned, now=NOW) == []


def test_a_crews_invitation_holds_no_secrets():
    system, _ = make_owned_system()
    premises = system.premises
    premises.gate_code, premises.access_note = "C4711X", "Key under the third pot"
    premises.save()
    planned = make_round(make_visit(system=system))
    told = telling.tell_round_accepted(planned=planned, now=NOW)
    for message in told:
        for text in (message.body_text, message.body_html, message.calendar_text):
            unfolded = text.replace("\r\n ", "")
            assert "C4711X" not in unfolded
            assert "third pot" not in unfolded
            assert "Omar" not in unfolded or message.template == "invite"


def test_a_round_given_to_another_crew_leaves_the_first_calendar():
    planned = make_round(make_visit())
    telling.tell_round_accepted(planned=planned, now=NOW)
    send_everything()
    planned.crew = make_crew(planned.organisation, email="sam@office.example")
    planned.save()
    told = telling.tell_round_accepted(planned=planned, now=NOW + timedelta(hours=1))
    assert {(message.to_address, message.calendar_method) for message in told} == {
        ("tess@office.example", "CANCEL"),
        ("sam@office.example", "REQUEST"),
    }


def test_a_withdrawn_round_is_called_off_for_its_crew():
    planned = make_round(make_visit())
    telling.tell_round_accepted(planned=planned, now=NOW)
    send_everything()
    (message,) = telling.tell_round_withdrawn(planned=planned, now=NOW, reason="tanker broken")
    assert (message.template, message.calendar_method) == ("crew_cancellation", "CANCEL")
    assert telling.tell_round_withdrawn(planned=planned, now=NOW) == []


def test_an_abandoned_visit_says_why_and_clears_the_calendar_in_one_message():
    visit = make_visit()
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    send_everything()
    visit.cancelled_at = NOW
    visit.save()
    job = visit.job
    job.state, job.closed_because = Job.State.ABANDONED, "Cover could not be opened"
    job.save()
    (message,) = telling.tell_visit_abandoned(job=job, now=NOW)
    assert (message.template, message.calendar_method) == ("abandoned", "CANCEL")
    assert "Cover could not be opened" in message.body_text


def test_a_person_without_email_gets_a_letter():
    system, omar = make_owned_system()
    omar.email, omar.postal_address = "", "1 Fold Lane\nLarkholt"
    omar.save()
    (message,) = telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    assert (message.channel, message.calendar_text) == ("post", "")
    assert "1 Fold Lane Larkholt" in message.to_address
    assert send_everything() == []


def test_a_name_cannot_add_a_header_or_a_line():
    system, omar = make_owned_system()
    omar.name = "Omar\r\nBcc: sid@else.example\r\nATTENDEE:mailto:sid@else.example"
    omar.save()
    premises = system.premises
    premises.name = "House\r\nX-Evil: 1\r\n\r\n<script>alert(1)</script>"
    premises.save()
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    (mail,) = send_everything()
    headers = mail.split(b"\r\n\r\n")[0]
    assert not re.search(rb"(?im)^(bcc|x-evil):", headers)
    message = Message.objects.get()
    assert "<script>" not in message.body_html
    assert message.calendar_text.count("\r\nATTENDEE") == 1


def test_news_of_tomorrow_morning_is_told_at_night():
    # Eleven at night in London; the visit begins at eight.
    night = NOW.replace(day=17, hour=22)
    (message,) = telling.tell_appointment_agreed(
        appointment=make_visit(NOW.replace(day=18, hour=7)), now=night
    )
    assert message.next_try_at == night
    assert len(send_everything(night)) == 1


def test_news_that_can_wait_waits_for_the_morning():
    night = NOW.replace(day=7, hour=22)
    (message,) = telling.tell_appointment_agreed(appointment=make_visit(), now=night)
    assert message.next_try_at == NOW.replace(day=8, hour=7)  # eight in London
    assert send_everything(night) == []
