"""Claims, leases, retries and dead letters, by a clock that tests set."""

from __future__ import annotations

import smtplib
from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from customers.models import Membership
from scheduler.messages import telling
from scheduler.messages.claims import LEASE, claim, release, still_held
from scheduler.messages.delivery import PostClosed
from scheduler.messages.outbox import drain, note_posted, send_again
from scheduler.messages.retries import MOST_ATTEMPTS
from scheduler.models import Message
from tests.make import make_organisation, make_user
from tests.scheduler.messages.visits import NOW, Sink, make_message, make_visit

pytestmark = pytest.mark.django_db


def drain_at(moment, sink=None, owner="worker") -> Sink:
    sink = sink or Sink()
    drain(clock=lambda: moment, post=sink, owner=owner)
    return sink


def test_a_message_goes_once():
    make_message()
    assert len(drain_at(NOW).taken) == 1
    assert drain_at(NOW + timedelta(days=1)).taken == []
    message = Message.objects.get()
    assert (message.state, message.sent_at, message.attempts) == ("sent", NOW, 1)


def test_the_same_key_is_not_written_twice():
    make_message(key="visit:1")
    with pytest.raises(IntegrityError), transaction.atomic():
        make_message(key="visit:1")


def test_of_two_workers_one_gets_the_message():
    message = make_message()
    assert claim([message.pk], owner="first", now=NOW) == [message]
    assert claim([message.pk], owner="second", now=NOW) == []
    assert drain_at(NOW, owner="second").taken == []


def test_a_message_of_a_dead_worker_is_taken_when_its_lease_has_run_out():
    message = make_message()
    claim([message.pk], owner="died", now=NOW)
    assert drain_at(NOW + LEASE - timedelta(seconds=1)).taken == []
    assert len(drain_at(NOW + LEASE).taken) == 1


def test_a_worker_that_comes_late_does_not_touch_what_another_holds():
    message = make_message()
    claim([message.pk], owner="slow", now=NOW)
    slow = Message.objects.get()
    assert still_held(slow, NOW)
    claim([message.pk], owner="quick", now=NOW + LEASE)
    assert not still_held(slow, NOW + LEASE)
    changed = release(slow, NOW + LEASE, state="sent", sent_at=NOW)
    message.refresh_from_db()
    assert (changed, message.state, message.claimed_by) == (0, "sending", "quick")


def test_a_slow_worker_renews_its_lease_and_keeps_its_messages():
    message = make_message()
    (held,) = claim([message.pk], owner="slow", now=NOW)
    later = NOW + LEASE * 0.75
    assert still_held(held, later)
    assert claim([message.pk], owner="second", now=NOW + LEASE) == []
    assert claim([message.pk], owner="second", now=later + LEASE) == [message]


def test_a_message_sent_twice_is_the_same_bytes():
    message = make_message()
    claim([message.pk], owner="died", now=NOW)
    first = drain_at(NOW + LEASE).taken
    Message.objects.update(state="sending", claimed_by="died", lease_until=NOW)
    assert drain_at(NOW + LEASE).taken == first


def test_a_hindrance_is_tried_again_after_a_growing_wait():
    busy = smtplib.SMTPDataError(451, b"try later")
    make_message()
    moment, waits = NOW, []
    for _ in range(4):
        drain_at(moment, Sink(busy))
        message = Message.objects.get()
        assert message.state == "waiting"
        waits.append(message.next_try_at - moment)
        moment = message.next_try_at
    assert message.last_error == "451 try later"
    assert waits == sorted(waits)
    assert waits[-1] > 4 * waits[0]
    assert len(drain_at(moment).taken) == 1


def test_nothing_is_tried_before_its_time():
    make_message(next_try_at=NOW + timedelta(seconds=1))
    assert drain_at(NOW).taken == []


def test_a_refusal_is_final_and_keeps_its_reason():
    make_message()
    nobody = smtplib.SMTPRecipientsRefused({"omar@home.example": (550, b"no such mailbox")})
    drain_at(NOW, Sink(nobody))
    message = Message.objects.get()
    assert (message.state, message.last_error) == ("dead", "550 no such mailbox")
    assert drain_at(NOW + timedelta(days=1)).taken == []


def test_after_enough_attempts_it_is_given_up():
    make_message(attempts=MOST_ATTEMPTS - 1)
    drain_at(NOW, Sink(TimeoutError("timed out")))
    message = Message.objects.get()
    assert message.state == "dead"
    assert message.last_error.startswith(f"Given up after {MOST_ATTEMPTS} attempts")


def test_an_address_that_is_none_dies_without_stopping_the_others():
    make_message(to_address="nobody at all")
    make_message()
    assert len(drain_at(NOW).taken) == 1
    bad = Message.objects.get(to_address="nobody at all")
    assert bad.state == "dead"
    assert "not one e-mail address" in bad.last_error


def test_a_closed_mail_server_costs_no_message_an_attempt():
    make_message()
    make_message()
    closed = Sink(PostClosed("refused"))
    assert drain_at(NOW, closed).taken == []
    assert set(Message.objects.values_list("state", "attempts")) == {("waiting", 0)}
    assert len(drain_at(NOW + timedelta(minutes=1)).taken) == 2


def test_what_is_too_late_is_not_sent():
    make_message(expires_at=NOW)
    assert drain_at(NOW).taken == []
    message = Message.objects.get()
    assert (message.state, message.last_error) == ("dropped", "Too late to be of use.")


def test_an_invitation_to_a_visit_that_moved_meanwhile_is_not_sent():
    visit = make_visit()
    (message,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    event = message.event
    event.sequence = 1
    event.save()
    assert drain_at(NOW).taken == []
    message.refresh_from_db()
    assert (message.state, message.last_error) == ("dropped", "The visit was changed since.")


def test_an_update_waits_while_its_invitation_is_being_sent():
    visit = make_visit()
    (invitation,) = telling.tell_appointment_agreed(appointment=visit, now=NOW)
    claim([invitation.pk], owner="busy", now=NOW)
    visit.starts_at += timedelta(hours=3)
    visit.ends_at += timedelta(hours=3)
    visit.save()
    (update,) = telling.tell_appointment_moved(appointment=visit, now=NOW)
    assert update.template == "update"
    assert drain_at(NOW).taken == []
    # The invitation's worker died: it is dropped as overtaken, and the update goes.
    sink = drain_at(NOW + LEASE)
    assert len(drain_at(NOW + LEASE, sink).taken) == 1
    states = dict(Message.objects.values_list("pk", "state"))
    assert states == {invitation.pk: "dropped", update.pk: "sent"}


def test_letters_are_not_mailed_but_posted_by_hand():
    message = make_message(channel="post", to_address="1 Fold Lane")
    ines = make_user(message.organisation)
    assert drain_at(NOW).taken == []
    assert note_posted(message=message, by=ines, now=NOW)
    assert not note_posted(message=message, by=ines, now=NOW)
    message.refresh_from_db()
    assert message.state == "sent"


def test_the_office_can_send_a_dead_letter_again():
    message = make_message(state="dead", attempts=12, last_error="550 full")
    assert send_again(message=message, by=make_user(message.organisation), now=NOW)
    assert len(drain_at(NOW).taken) == 1


def test_sending_again_does_nothing_to_what_is_not_dead():
    message = make_message(state="sent", sent_at=NOW)
    assert not send_again(message=message, by=make_user(message.organisation), now=NOW)
    assert drain_at(NOW).taken == []


@pytest.mark.parametrize("role", [Membership.Role.READER, Membership.Role.CREW, None])
def test_who_may_not_tell_may_not_send_again(role):
    message = make_message(state="dead")
    sid = make_user(message.organisation, role) if role else make_user(make_organisation())
    with pytest.raises(PermissionDenied):
        send_again(message=message, by=sid, now=NOW)


def test_a_batch_takes_the_oldest_first_and_no_more_than_asked():
    for minutes in (1, 3, 2):
        make_message(next_try_at=NOW - timedelta(minutes=minutes), to_name=str(minutes))
    drain(clock=lambda: NOW, post=Sink(), limit=2)
    left = Message.objects.get(state="waiting")
    assert left.to_name == "1"
