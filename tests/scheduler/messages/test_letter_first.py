"""An office that prefers letters writes letters, and e-mail only where there is no time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from scheduler.messages import telling
from scheduler.messages.ladder import plan_reminders
from scheduler.messages.outbox import note_posted
from scheduler.messages.own_ladder import set_telling_rules
from scheduler.messages.quiet_hours import USUAL_HOURS
from scheduler.models import Call, Job, Message
from tests.make import make_job, make_user
from tests.scheduler.messages.visits import (
    NOW,
    make_agreement,
    make_owned_system,
    make_visit,
)

pytestmark = pytest.mark.django_db
TOMORROW = datetime(2027, 6, 8, 12, tzinfo=UTC)


@pytest.fixture
def system():
    system, omar = make_owned_system()
    omar.postal_address = "1 Fold Lane"
    omar.save()
    set_telling_rules(
        organisation=system.organisation,
        day_begins=USUAL_HOURS.begin,
        day_ends=USUAL_HOURS.end,
        order="post",
        by=make_user(system.organisation),
    )
    return system


def ways():
    return list(Message.objects.order_by("pk").values_list("channel", "template", "state"))


def test_an_offer_goes_by_letter_though_there_is_an_e_mail_address(system):
    make_agreement(system)
    make_job(system, due_on=NOW.date() + timedelta(days=40), state=Job.State.WANTED)
    assert plan_reminders(now=NOW) == 1
    assert ways() == [("post", "offer", "waiting")]


def test_a_far_visit_is_told_by_letter_and_needs_no_calendar_mail(system):
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    assert ways() == [("post", "invite", "waiting")]


def test_a_visit_too_near_for_a_letter_is_mailed_and_not_rung_about(system):
    telling.tell_appointment_agreed(appointment=make_visit(TOMORROW, system=system), now=NOW)
    assert ways() == [("email", "invite", "waiting")]
    assert not Call.objects.exists()


def test_who_knows_by_letter_gets_no_mail_as_the_day_comes_near(system):
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    later = visit.starts_at - timedelta(days=1)
    telling.tell_appointment_agreed(appointment=visit, now=later)
    assert ways() == [("post", "invite", "waiting")]


def test_a_late_move_is_mailed_and_the_letter_is_not_followed_by_a_cancellation(system):
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    ines = make_user(system.organisation)
    note_posted(message=Message.objects.get(), by=ines, now=NOW)
    visit.starts_at, visit.ends_at = TOMORROW, TOMORROW + timedelta(hours=2)
    visit.save()
    telling.tell_appointment_moved(appointment=visit, now=NOW)
    assert ways() == [("post", "invite", "sent"), ("email", "invite", "waiting")]


def test_who_was_mailed_once_is_told_of_the_same_visit_by_mail_again(system):
    visit = make_visit(TOMORROW, system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    visit.starts_at += timedelta(days=20)
    visit.ends_at += timedelta(days=20)
    visit.save()
    telling.tell_appointment_moved(appointment=visit, now=NOW)
    assert ways() == [("email", "invite", "sent"), ("email", "update", "waiting")]
