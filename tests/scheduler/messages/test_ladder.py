"""Which reminders are written, to whom, and when they leave."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from customers.models import ContactPreference, Party
from scheduler.messages import consent, telling
from scheduler.messages.calls import jobs_to_ring, jobs_wanted
from scheduler.messages.ladder import plan_reminders
from scheduler.messages.outbox import drain
from scheduler.models import Job, Message
from tests.make import make_job, make_person
from tests.scheduler.messages.visits import (
    NOW,
    Sink,
    add_party,
    allow,
    make_agreement,
    make_owned_system,
    make_visit,
)

pytestmark = pytest.mark.django_db
DUE_IN_60 = NOW.date() + timedelta(days=60)


def templates() -> list[str]:
    return list(Message.objects.order_by("pk").values_list("template", flat=True))


def sent_at(moment: datetime) -> int:
    sink = Sink()
    drain(clock=lambda: moment, post=sink)
    return len(sink.taken)


def test_a_job_under_agreement_is_offered_sixty_days_ahead_once():
    system, omar = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=DUE_IN_60)
    assert plan_reminders(now=NOW - timedelta(days=1)) == 0
    assert plan_reminders(now=NOW) == 1
    assert plan_reminders(now=NOW + timedelta(hours=1)) == 0
    message = Message.objects.get()
    assert (message.template, message.person, message.message_class) == ("offer", omar, "service")


def test_the_whole_ladder_is_one_message_a_rung():
    system, _ = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=DUE_IN_60)
    for day in range(130):
        now = NOW + timedelta(days=day)
        plan_reminders(now=now)
        sent_at(now + timedelta(days=1))
    assert templates() == ["offer", "offer_again", "overdue", "overdue_again"]
    # Nothing was dropped as too late: each left within a day or two of its step.
    assert set(Message.objects.values_list("state", flat=True)) == {"sent"}


def test_without_agreement_an_offer_is_marketing_and_needs_consent():
    system, omar = make_owned_system()
    make_job(system, due_on=DUE_IN_60)
    assert plan_reminders(now=NOW) == 0
    allow(omar)
    assert plan_reminders(now=NOW) == 1
    message = Message.objects.get()
    assert message.message_class == "marketing"
    assert "/leave/" in message.body_text
    assert "/leave/" in message.body_html


def test_consent_taken_back_between_writing_and_sending_stops_the_offer():
    system, omar = make_owned_system()
    make_job(system, due_on=DUE_IN_60)
    allow(omar)
    plan_reminders(now=NOW)
    allow(omar, allowed=False, at=NOW + timedelta(minutes=1))
    assert sent_at(NOW + timedelta(hours=1)) == 0
    message = Message.objects.get()
    assert (message.state, message.last_error) == (
        "dropped",
        "Refused: said so on the telephone.",
    )


def test_no_second_offer_once_a_day_is_agreed():
    system, _ = make_owned_system()
    make_agreement(system)
    job = make_job(system, due_on=DUE_IN_60)
    plan_reminders(now=NOW)
    make_visit(NOW + timedelta(days=20), job=job)
    Job.objects.update(state=Job.State.AGREED)
    assert sent_at(NOW) == 0
    assert Message.objects.get().state == "dropped"
    assert plan_reminders(now=NOW + timedelta(days=31)) == 0


def test_a_job_that_turns_up_late_gets_the_rung_it_has_reached_only():
    system, _ = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=NOW.date() - timedelta(days=50))
    plan_reminders(now=NOW)
    assert templates() == ["overdue_again"]


def test_an_agreed_visit_is_recalled_a_week_and_a_day_before():
    visit = make_visit(NOW + timedelta(days=11))
    for day in range(12):
        now = NOW + timedelta(days=day)
        plan_reminders(now=now)
        sent_at(now)
    assert templates() == ["reminder_week", "reminder_day"]
    sent = Message.objects.values_list("sent_at", flat=True).order_by("sent_at")
    before = [(visit.starts_at.date() - moment.date()).days for moment in sent]
    assert before == [7, 1]


def test_a_reminder_of_a_visit_that_moved_is_not_sent():
    visit = make_visit(NOW + timedelta(days=7), agreed_at=NOW - timedelta(days=9))
    telling.tell_appointment_agreed(appointment=visit, now=NOW - timedelta(days=9))
    sent_at(NOW - timedelta(days=9))
    plan_reminders(now=NOW)
    visit.starts_at += timedelta(days=2)
    visit.ends_at += timedelta(days=2)
    visit.save()
    telling.tell_appointment_moved(appointment=visit, now=NOW)
    sent_at(NOW)
    states = dict(Message.objects.values_list("template", "state"))
    assert states == {"invite": "sent", "reminder_week": "dropped", "update": "sent"}


def test_reminders_are_said_before_the_holidays_not_in_them():
    # Good Friday 26 March and Easter Monday 29 March 2027; a visit on Tuesday 30 March.
    booked = datetime(2027, 2, 1, 9, tzinfo=UTC)
    make_visit(datetime(2027, 3, 30, 8, tzinfo=UTC), agreed_at=booked)
    days = []
    for day in range(20, 31):
        now = datetime(2027, 3, day, 9, 30, tzinfo=UTC)
        plan_reminders(now=now)
        if sent_at(now):
            days.append(day)
    assert days == [23, 28]


def test_nothing_leaves_at_night_on_the_day_the_clocks_change():
    system, _ = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=date(2027, 5, 27))
    for minutes in range(0, 24 * 60, 30):
        now = datetime(2027, 3, 28, tzinfo=UTC) + timedelta(minutes=minutes)
        plan_reminders(now=now)
        sent_at(now)
    message = Message.objects.get()
    assert message.sent_at == datetime(2027, 3, 28, 8, tzinfo=UTC)  # nine in summer time


def test_everybody_who_expects_us_is_reminded_but_only_deciders_are_asked():
    system, omar = make_owned_system()
    make_agreement(system)
    lodger = make_person(system.organisation)
    add_party(system, lodger, Party.Role.OCCUPIER)
    make_job(system, due_on=DUE_IN_60)
    make_visit(
        NOW + timedelta(days=7),
        system=system,
        agreed_at=NOW - timedelta(days=30),
        job=(make_job(system, kind=Job.Kind.SERVICE, due_on=DUE_IN_60, state=Job.State.AGREED)),
    )
    plan_reminders(now=NOW)
    told = set(Message.objects.values_list("template", "person"))
    assert told == {("offer", omar.pk), ("reminder_week", omar.pk), ("reminder_week", lodger.pk)}


def test_who_cannot_be_written_to_is_rung():
    long_overdue, _ = make_owned_system()
    organisation = long_overdue.organisation
    make_agreement(long_overdue)
    unasked, _ = make_owned_system(organisation=organisation)
    nobody, stranger = make_owned_system(organisation=organisation)
    stranger.parties.all().delete()
    fine, happy = make_owned_system(organisation=organisation)
    allow(happy)
    make_job(long_overdue, due_on=NOW.date() - timedelta(days=60))
    for system in (unasked, nobody, fine):
        make_job(system, due_on=NOW.date() + timedelta(days=10))
    calls = jobs_wanted(jobs_to_ring(organisation, NOW.date()), NOW.date())
    reasons = {call.job.system: call.why for call in calls}
    assert set(reasons) == {long_overdue, unasked, nobody}
    assert reasons[nobody] == "No e-mail or postal address to write to."
    assert "no consent" in reasons[unasked]


def test_leaving_the_list_lasts_and_covers_who_comes_to_that_address():
    system, omar = make_owned_system()
    make_job(system, due_on=DUE_IN_60)
    allow(omar)
    hashed = consent.address_hash(omar.email, system.organisation)
    for _ in range(2):
        consent.unsubscribe(organisation=system.organisation, hashed=hashed, now=NOW)
    allow(omar, at=NOW + timedelta(days=1))
    assert plan_reminders(now=NOW + timedelta(days=2)) == 0
    assert ContactPreference.objects.filter(allowed=False).count() == 1


def test_who_left_the_list_still_hears_of_an_agreed_visit():
    visit = make_visit()
    organisation = visit.job.organisation
    (party,) = visit.job.system.premises.parties.all()
    hashed = consent.address_hash(party.person.email, organisation)
    consent.unsubscribe(organisation=organisation, hashed=hashed, now=NOW)
    assert len(telling.tell_appointment_agreed(appointment=visit, now=NOW)) == 1


def test_looking_again_costs_the_same_for_many(django_assert_max_num_queries):
    organisation = make_owned_system()[0].organisation
    for number in range(12):
        system, omar = make_owned_system(organisation=organisation)
        make_job(system, due_on=DUE_IN_60)
        if number % 2:
            allow(omar)
    plan_reminders(now=NOW)
    with django_assert_max_num_queries(6):
        assert plan_reminders(now=NOW + timedelta(minutes=10)) == 0
    assert Message.objects.count() == 6
