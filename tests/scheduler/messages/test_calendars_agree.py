"""Whatever is done in whatever order, each calendar comes to show what the database says."""

from __future__ import annotations

import random
from datetime import timedelta

import hypothesis
import pytest
from django.db import transaction
from hypothesis import HealthCheck
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from scheduler import booking
from scheduler.messages import telling
from scheduler.messages.feeds import feed_body
from scheduler.messages.outbox import drain
from scheduler.messages.replies import apply_reply, keep_our_time
from scheduler.messages.senders import organizer_of
from scheduler.models import CalendarEvent, FeedToken, Job, Message, Round
from scheduler.owner_requests import choose_language
from scheduler.proposed_times import take_proposed_time
from tests.make import make_job, make_person, make_user
from tests.scheduler.messages.answers import AUTHSERV, answer_mail
from tests.scheduler.messages.attendees import AttendeesCalendar, feed_shows
from tests.scheduler.messages.visits import (
    NOW,
    add_party,
    make_owned_system,
    make_round,
    make_visit,
)

SLOTS = st.integers(0, 40).map(lambda half_days: NOW + timedelta(days=7, hours=half_days * 12))


class Telling(RuleBasedStateMachine):
    """An office that books, moves and cancels; workers that send, fail, die and send again."""

    def __init__(self) -> None:
        super().__init__()
        self.rollback = transaction.atomic()
        self.rollback.__enter__()
        self.now = NOW
        self.system, self.omar = make_owned_system()
        self.other = make_person(self.system.organisation)
        self.ines = make_user(self.system.organisation)
        self.job = make_job(self.system, due_on=NOW.date())
        # The crew's day: another visit keeps the round going whatever becomes of ours.
        self.round = make_round(make_visit(NOW + timedelta(days=10)))
        self.calendars: dict[str, AttendeesCalendar] = {}
        self.mails: list[tuple[str, bytes]] = []
        self.luck = random.Random(1)
        self.answers = 0

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.rollback.__exit__(None, None, None)

    def send(self, content: bytes, *, sender: str, recipient: str, name: str) -> None:
        """The post: takes the mail, and at times says busy before or after having taken it."""
        fate = self.luck.random()
        if fate < self.loses:
            raise TimeoutError("no answer")
        self.mails.append((recipient, content))
        if fate > 1 - self.loses:
            raise TimeoutError("no answer, but taken")

    loses = 0.0

    @rule(slot=SLOTS)
    def book(self, slot) -> None:
        self.job.refresh_from_db()
        booking.book(
            job=self.job, starts_at=slot, ends_at=slot + timedelta(hours=2), by=self.ines,
            now=self.now,
        )  # fmt: skip

    @rule(slot=SLOTS)
    def move(self, slot) -> None:
        self.job.refresh_from_db()
        if self.job.state == Job.State.AGREED:
            booking.move(
                job=self.job, starts_at=slot, ends_at=slot + timedelta(hours=2), by=self.ines,
                now=self.now,
            )  # fmt: skip

    @rule()
    def cancel(self) -> None:
        self.job.refresh_from_db()
        if self.job.state == Job.State.AGREED:
            booking.cancel(job=self.job, because="lane flooded", by=self.ines, now=self.now)

    @rule(words=st.sampled_from(["01632 960001", "01632 960002"]))
    def change_words(self, words) -> None:
        organisation = self.system.organisation
        organisation.phone = words
        organisation.save(update_fields=["phone"])
        appointment = booking.standing_appointment(self.job)
        if appointment is not None:
            fresh = type(appointment).objects.get(pk=appointment.pk)
            telling.tell_appointment_moved(appointment=fresh, now=self.now)

    @rule()
    def somebody_moves_in_or_out(self) -> None:
        if not self.other.parties.all().delete()[0]:
            add_party(self.system, self.other)
        appointment = booking.standing_appointment(self.job)
        if appointment is not None:
            telling.tell_appointment_moved(appointment=appointment, now=self.now)

    @rule(accepted=st.booleans())
    def settle_the_round(self, accepted) -> None:
        Round.objects.filter(pk=self.round.pk).update(accepted_at=self.now if accepted else None)
        planned = Round.objects.get(pk=self.round.pk)
        tell = telling.tell_round_accepted if accepted else telling.tell_round_withdrawn
        tell(planned=planned, now=self.now)

    @rule(partstat=st.sampled_from(["ACCEPTED", "DECLINED", "TENTATIVE"]), late=st.booleans())
    def the_owner_answers(self, partstat, late) -> None:
        """By mail, to the newest revision or to an older one; an answer moves nothing by itself."""
        event = self.owners_event()
        if event is not None:
            mail = self.answer(event, partstat=partstat, sequence=max(0, event.sequence - late))
            apply_reply(mail=mail, delivered_to=organizer_of(event).address, now=self.now)

    @rule(slot=SLOTS, taken=st.booleans())
    def the_owner_proposes_another_time(self, slot, taken) -> None:
        """A COUNTER, which the office takes, and all are told, or declines, and nothing moves."""
        event = self.owners_event()
        if event is None:
            return
        times = [f"DTSTART:{slot:%Y%m%dT%H%M%SZ}"]
        times += [f"DTEND:{slot + timedelta(hours=2):%Y%m%dT%H%M%SZ}"]
        mail = self.answer(event, method="COUNTER", partstat="TENTATIVE", more=times)
        reply = apply_reply(mail=mail, delivered_to=organizer_of(event).address, now=self.now)
        if reply is None or reply.verdict != "review" or reply.proposed_start is None:
            return
        if taken:
            self.job.refresh_from_db()
            take_proposed_time(reply=reply, by=self.ines, now=self.now)
        else:
            keep_our_time(reply=reply, by=self.ines, now=self.now)

    def owners_event(self) -> CalendarEvent | None:
        heard = CalendarEvent.objects.filter(
            attendee_email=self.omar.email, cancelled_at__isnull=True, appointment__job=self.job
        )
        return heard.first()

    def answer(self, event, **said) -> bytes:
        self.answers += 1
        number = f"<answer-{self.answers}@home.example>"
        return answer_mail(event, mail_id=number, stamp=self.now, **said)

    @rule(language=st.sampled_from(["cy", "en-gb"]))
    def the_owner_reads_another_language(self, language) -> None:
        choose_language(person=self.omar, language=language)

    @rule(hours=st.sampled_from([0, 0, 1, 13]))
    def time_passes(self, hours) -> None:
        self.now += timedelta(hours=hours, seconds=1)

    @rule(loses=st.sampled_from([0.0, 0.4]), limit=st.sampled_from([1, 3, 50]))
    def a_worker_sends(self, loses, limit) -> None:
        self.loses = loses
        drain(clock=lambda: self.now, post=self, limit=limit)

    @rule()
    def a_worker_dies_after_sending(self) -> None:
        """Between the server's yes and our mark: the message will go again."""
        last = Message.objects.filter(state="sent").order_by("-sent_at", "-pk").first()
        if last is not None:
            Message.objects.filter(pk=last.pk).update(
                state="sending", sent_at=None, claimed_by="dead", lease_until=self.now
            )

    def deliver(self) -> None:
        """Mail arrives in any order; a mailbox belongs to one attendee."""
        self.luck.shuffle(self.mails)
        for recipient, mail in self.mails:
            self.calendars.setdefault(recipient, AttendeesCalendar()).receive(mail)

    @invariant()
    def calendars_agree_once_all_is_sent(self) -> None:
        point = transaction.savepoint()
        kept = list(self.mails), self.now
        self.send_all()
        self.calendars = {}
        self.deliver()
        expected: dict[str, dict[str, object]] = {}
        for event in CalendarEvent.objects.filter(cancelled_at__isnull=True):
            spans = expected.setdefault(event.attendee_email, {})
            spans[event.uid] = (event.starts_at, event.ends_at)
        shown = {who: calendar.shows() for who, calendar in self.calendars.items()}
        assert {who: spans for who, spans in shown.items() if spans} == expected
        self.database_says_the_same()
        transaction.savepoint_rollback(point)
        self.mails, self.now = kept

    def send_all(self) -> None:
        self.loses = 0.0
        for _ in range(4):
            self.now += timedelta(hours=6)
            drain(clock=lambda: self.now, post=self)

    def database_says_the_same(self) -> None:
        """Events are those of the standing appointment, and the owner's feed shows them."""
        appointment = booking.standing_appointment(self.job)
        token = FeedToken(organisation=self.system.organisation, person=self.omar)
        shown = set(feed_shows(feed_body(token, now=self.now)[0]).values())
        standing = {(appointment.starts_at, appointment.ends_at)} if appointment else set()
        assert shown == standing
        place = FeedToken(organisation=self.system.organisation, premises=self.system.premises)
        assert set(feed_shows(feed_body(place, now=self.now)[0]).values()) == standing
        self.round.refresh_from_db()
        crew = FeedToken(organisation=self.round.organisation, crew=self.round.crew)
        shown = set(feed_shows(feed_body(crew, now=self.now)[0]).values())
        accepted = self.round.accepted_at is not None
        assert shown == ({(self.round.starts_at, self.round.ends_at)} if accepted else set())


@pytest.mark.django_db
def test_calendars_agree_with_the_database_after_any_sequence(settings):
    settings.MAIL_AUTHSERV_ID = AUTHSERV
    run_state_machine_as_test(
        Telling,
        settings=hypothesis.settings(
            max_examples=8,
            stateful_step_count=12,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
