"""States of a job: wanted, offered, agreed, under way, done, abandoned, withdrawn."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied

from customers.models import Party
from scheduler import booking
from scheduler.models import CalendarEvent, Job, Message
from servicing.models import Visit
from tests.make import make_job, make_organisation, make_person, make_system, make_user

pytestmark = pytest.mark.django_db

NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
STARTS = dt.datetime(2026, 12, 8, 9, tzinfo=dt.UTC)
ENDS = dt.datetime(2026, 12, 8, 12, tzinfo=dt.UTC)


@pytest.fixture
def job():
    system = make_system()
    owner = make_person(system.organisation)
    Party.objects.create(premises=system.premises, person=owner, role=Party.Role.OWNER)
    return make_job(system, due_on=dt.date(2026, 12, 10))


@pytest.fixture
def office(job):
    return make_user(job.organisation)


def visit_of(job, **fields):
    return Visit.objects.create(
        organisation=job.organisation,
        system=job.system,
        visited_on=dt.date(2026, 12, 8),
        lid_back_on=True,
        **fields,
    )


def test_an_offer_waits_for_the_owners_yes(job, office):
    booking.offer(job=job, starts_at=STARTS, ends_at=ENDS, by=office, now=NOW)
    job.refresh_from_db()
    assert job.state == Job.State.OFFERED
    booking.agree(job=job, how="link", now=NOW)
    job.refresh_from_db()
    assert (job.state, job.appointments.get().agreed_by) == (Job.State.AGREED, "link")


def test_agreeing_twice_writes_one_invite(job, office):
    booking.offer(job=job, starts_at=STARTS, ends_at=ENDS, by=office, now=NOW)
    booking.agree(job=job, how="link", now=NOW)
    booking.agree(job=job, how="link", now=NOW)
    assert Message.objects.filter(job=job, calendar_method="REQUEST").count() == 1


def test_moving_keeps_the_appointment_and_raises_the_sequence(job, office):
    first = booking.book(job=job, starts_at=STARTS, ends_at=ENDS, by=office, now=NOW)
    before = CalendarEvent.objects.get(appointment=first)
    day = dt.timedelta(days=1)
    booking.move(job=job, starts_at=STARTS + day, ends_at=ENDS + day, by=office, now=NOW)
    after = CalendarEvent.objects.get(appointment=first)
    # RFC 5546, 2.1.4: SEQUENCE rises when DTSTART changes; the UID stays.
    assert (after.uid, after.sequence) == (before.uid, before.sequence + 1)
    assert after.starts_at == STARTS + day


def test_cancelling_leaves_the_work_wanted_and_tells_the_owner(job, office):
    booking.book(job=job, starts_at=STARTS, ends_at=ENDS, by=office, now=NOW)
    Message.objects.update(state=Message.State.SENT, sent_at=NOW)
    booking.cancel(job=job, because="The tanker broke down", by=office, now=NOW)
    job.refresh_from_db()
    assert job.state == Job.State.WANTED
    assert Message.objects.filter(job=job, calendar_method="CANCEL").count() == 1
    assert booking.standing_appointment(job) is None


def test_a_done_job_cannot_be_moved_and_the_reason_is_said(job, office):
    booking.finish(job=job, visit=visit_of(job), by=office, now=NOW)
    with pytest.raises(booking.NotPossible, match="This job is done"):
        booking.move(job=job, starts_at=STARTS, ends_at=ENDS, by=office, now=NOW)


def test_a_time_that_has_passed_is_refused(job, office):
    with pytest.raises(booking.NotPossible, match="passed"):
        booking.offer(
            job=job, starts_at=NOW - dt.timedelta(hours=3), ends_at=NOW, by=office, now=NOW
        )


def test_finishing_twice_changes_nothing(job, office):
    visit = visit_of(job)
    booking.finish(job=job, visit=visit, by=office, now=NOW)
    told = Message.objects.count()
    booking.finish(job=job, visit=visit, by=office, now=NOW)
    job.refresh_from_db()
    assert (job.state, job.visit, Message.objects.count()) == (Job.State.DONE, visit, told)


def test_an_abandoned_job_leaves_another_that_is_wanted(job, office):
    visit = visit_of(job, abandoned_because=Visit.Abandoned.DOG)
    after = booking.abandon(job=job, visit=visit, by=office, now=NOW)
    again = booking.abandon(job=job, visit=visit, by=office, now=NOW)
    job.refresh_from_db()
    assert (job.state, job.closed_because) == (Job.State.ABANDONED, "Dog")
    assert (after.state, after.follows, after) == (Job.State.WANTED, job, again)


def test_withdrawing_cancels_what_was_promised(job, office):
    booking.book(job=job, starts_at=STARTS, ends_at=ENDS, by=office, now=NOW)
    booking.withdraw(job=job, because="Emptied by others", by=office, now=NOW)
    job.refresh_from_db()
    assert (job.state, job.closed_because) == (Job.State.WITHDRAWN, "Emptied by others")
    assert booking.standing_appointment(job) is None


def test_reader_and_stranger_settle_nothing(job):
    stranger = make_user(make_organisation())
    for user in (make_user(job.organisation, "reader"), stranger):
        with pytest.raises(PermissionDenied):
            booking.offer(job=job, starts_at=STARTS, ends_at=ENDS, by=user, now=NOW)


def test_the_operators_crew_may_finish_what_was_handed_to_it(job):
    operator = make_organisation()
    job.handed_to = operator
    job.save(update_fields=["handed_to"])
    driver = make_user(operator, "crew")
    booking.finish(job=job, visit=visit_of(job), by=driver, now=NOW)
    job.refresh_from_db()
    assert job.state == Job.State.DONE
