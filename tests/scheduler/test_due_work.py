"""What falls due becomes one job and not two."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied

from scheduler import booking, due_work
from scheduler.messages.ladder import plan_reminders
from scheduler.models import Job, LadderStep, Message, TroubleReport
from servicing.forecasts import refresh_forecasts
from servicing.models import System
from tests.make import make_organisation, make_system, make_user
from tests.scheduler.messages.visits import make_agreement, make_owned_system

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 25)


def refreshed(organisation, today=TODAY):
    refresh_forecasts(systems=System.objects.filter(organisation=organisation), today=today)
    return due_work.make_due_jobs(organisation=organisation, today=today)


def test_a_system_due_within_the_horizon_gets_a_job_that_says_why():
    system = make_system(last_emptied_on=dt.date(2026, 1, 10))
    assert refreshed(system.organisation).made == 1
    job = Job.objects.get()
    assert (job.system, job.kind, job.state) == (system, "emptying", "wanted")
    assert job.due_on == dt.date(2027, 1, 10)
    assert "guidance" in job.why
    assert job.litres == 2800


def test_running_twice_makes_one_job():
    system = make_system(last_emptied_on=dt.date(2026, 1, 10))
    refreshed(system.organisation)
    done = refreshed(system.organisation)
    assert (done.made, done.changed, done.withdrawn) == (0, 0, 0)
    assert Job.objects.count() == 1


def test_what_is_due_beyond_the_horizon_waits():
    system = make_system(last_emptied_on=dt.date(2026, 11, 1))
    assert refreshed(system.organisation).made == 0


def test_a_job_nobody_was_told_of_follows_the_forecast():
    system = make_system(last_emptied_on=dt.date(2026, 1, 10))
    refreshed(system.organisation)
    System.objects.update(last_emptied_on=dt.date(2026, 2, 10))
    assert refreshed(system.organisation).changed == 1
    assert Job.objects.get().due_on == dt.date(2027, 2, 10)


def test_a_promised_job_does_not_move_with_the_forecast():
    system = make_system(last_emptied_on=dt.date(2026, 1, 10))
    refreshed(system.organisation)
    Job.objects.update(state=Job.State.AGREED)
    System.objects.update(last_emptied_on=dt.date(2026, 2, 10))
    assert refreshed(system.organisation).changed == 0


def test_a_job_no_longer_due_is_withdrawn():
    system = make_system(last_emptied_on=dt.date(2026, 1, 10))
    refreshed(system.organisation)
    System.objects.update(last_emptied_on=dt.date(2026, 11, 20))
    assert refreshed(system.organisation).withdrawn == 1
    assert Job.objects.get().state == Job.State.WITHDRAWN


def test_emptyings_go_to_the_operator_the_installer_works_with():
    operator = make_organisation()
    organisation = make_organisation(tanker_operator=operator)
    make_system(organisation, last_emptied_on=dt.date(2026, 1, 10))
    refreshed(organisation)
    assert Job.objects.get().driven_by == operator


def test_other_organisations_are_left_alone():
    make_system(last_emptied_on=dt.date(2025, 1, 10))
    assert refreshed(make_organisation()).made == 0


def test_trouble_reported_twice_is_one_call_out_by_the_earlier_day():
    system = make_system()
    soon, same_day = TroubleReport.Priority.SOON, TroubleReport.Priority.SAME_DAY
    due_work.call_out(system=system, why="Drains slow", priority=soon, today=TODAY)
    due_work.call_out(system=system, why="Sewage indoors", priority=same_day, today=TODAY)
    job = Job.objects.get()
    assert (job.due_on, job.urgent) == (TODAY, True)
    assert "Drains slow" in job.why
    assert "Sewage indoors" in job.why


def test_a_reader_adds_no_job():
    system = make_system()
    reader = make_user(system.organisation, "reader")
    with pytest.raises(PermissionDenied):
        due_work.want_job(system=system, kind="emptying", due_on=TODAY, why="x", by=reader)


def test_a_second_open_job_of_a_kind_is_refused_in_words():
    system = make_system()
    office = make_user(system.organisation)
    due_work.want_job(system=system, kind="emptying", due_on=TODAY, why="x", by=office)
    with pytest.raises(booking.NotPossible, match="open job of this kind"):
        due_work.want_job(system=system, kind="emptying", due_on=TODAY, why="y", by=office)


@pytest.mark.parametrize(
    ("today", "due", "made"),
    [
        # Ninety days from 1 October end on 30 December; the offers of midwinter begin that day.
        (dt.date(2026, 10, 1), dt.date(2027, 1, 31), 1),
        (dt.date(2026, 10, 1), dt.date(2027, 2, 1), 0),
        (dt.date(2026, 9, 30), dt.date(2027, 1, 31), 0),
        (dt.date(2026, 11, 30), dt.date(2027, 1, 31), 1),
        (dt.date(2026, 12, 2), dt.date(2027, 3, 2), 1),
    ],
)
def test_midwinter_has_its_jobs_when_its_offers_begin(today, due, made):
    system = make_system(last_emptied_on=due.replace(year=due.year - 1))
    assert refreshed(system.organisation, today).made == made


def test_on_the_first_of_october_the_end_of_january_is_offered():
    system, _ = make_owned_system(last_emptied_on=dt.date(2026, 1, 31))
    make_agreement(system, starts_on=dt.date(2026, 1, 1))
    refreshed(system.organisation, dt.date(2026, 10, 1))
    assert plan_reminders(now=dt.datetime(2026, 10, 1, 9, tzinfo=dt.UTC)) == 1
    message = Message.objects.get()
    assert message.template == "offer"
    assert message.job.due_on == dt.date(2027, 1, 31)


def test_an_office_that_offers_early_has_the_jobs_it_offers():
    system = make_system(last_emptied_on=dt.date(2026, 7, 20))
    assert refreshed(system.organisation, dt.date(2027, 3, 22)).made == 0
    LadderStep.objects.create(organisation=system.organisation, name="offer", days=-120)
    assert refreshed(system.organisation, dt.date(2027, 3, 22)).made == 1
