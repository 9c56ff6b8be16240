"""The office's list of what owners said, and how each is settled."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from scheduler.models import Appointment, DayRequest, Job, TroubleReport
from tests.make import make_job, make_organisation, make_person, make_system, make_user

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def system():
    return make_system()


@pytest.fixture
def ines(system):
    return make_user(system.organisation, name="Ines")


@pytest.fixture
def report(system):
    return TroubleReport.objects.create(
        public_id=uuid.uuid4(),
        system=system,
        person=make_person(system.organisation, name="Omar"),
        reported_at=NOW,
        symptom="all_slow",
        words="since Sunday",
        advice="Use little water",
        priority=2,
    )


@pytest.fixture
def wish(system):
    job = make_job(system, due_on=TODAY, state=Job.State.WANTED)
    return DayRequest.objects.create(
        job=job, asked_at=NOW, days=["2026-12-14", "2026-12-15"], words="after three"
    )


def text_of(client, user):
    client.force_login(user)
    return client.get(reverse("scheduler:owner_requests")).content.decode()


def press(client, user, name, public_id, data=None):
    client.force_login(user)
    return client.post(reverse(f"scheduler:{name}", args=[public_id]), data or {})


def offer(job, day="2026-12-14", begins="15:00", ends="17:00"):
    prefix = f"offer-{job.public_id.hex[:8]}"
    return {f"{prefix}-day": day, f"{prefix}-begins": begins, f"{prefix}-ends": ends}


def test_the_list_shows_what_waits(client, ines, report, wish):
    text = text_of(client, ines)
    for words in ("since Sunday", "Omar", "after three", "Monday 14 December 2026"):
        assert words in text
    assert 'value="2026-12-14"' in text


def test_the_worst_trouble_stands_first(client, ines, report, system):
    TroubleReport.objects.create(
        public_id=uuid.uuid4(),
        system=system,
        reported_at=NOW,
        symptom="sewage_up",
        advice="x",
        priority=1,
    )
    text = text_of(client, ines)
    assert text.index("Sewage is coming up") < text.index("All drains are slow")


def test_another_firm_sees_and_settles_nothing(client, report, wish):
    other = make_user(make_organisation())
    text = text_of(client, other)
    assert "since Sunday" not in text
    assert "after three" not in text
    assert press(client, other, "report_seen", report.public_id).status_code == 404
    for name in ("wish_offer", "wish_settled"):
        assert press(client, other, name, wish.job.public_id).status_code == 404


@pytest.mark.parametrize("role", ["reader", "crew"])
def test_who_does_not_plan_reads_but_settles_nothing(client, system, report, wish, role):
    user = make_user(system.organisation, role)
    text = text_of(client, user)
    assert "since Sunday" in text
    assert "Mark as read" not in text
    assert press(client, user, "report_seen", report.public_id).status_code == 403
    for name in ("wish_offer", "wish_settled"):
        response = press(client, user, name, wish.job.public_id, offer(wish.job))
        assert response.status_code == 403
    wish.refresh_from_db()
    assert wish.settled_at is None


def test_a_report_is_read_once(client, ines, report, time_machine):
    press(client, ines, "report_seen", report.public_id)
    time_machine.move_to(NOW + dt.timedelta(hours=1))
    press(client, ines, "report_seen", report.public_id)
    report.refresh_from_db()
    assert report.seen_by_office_at == NOW
    assert "since Sunday" not in text_of(client, ines)


def test_a_wanted_job_is_answered_with_an_offer(client, ines, wish):
    press(client, ines, "wish_offer", wish.job.public_id, offer(wish.job))
    wish.job.refresh_from_db()
    wish.refresh_from_db()
    assert wish.job.state == Job.State.OFFERED
    assert wish.settled_at == NOW
    assert Appointment.objects.get().starts_at == dt.datetime(2026, 12, 14, 15, tzinfo=dt.UTC)


def test_an_agreed_visit_is_moved_and_stays_agreed(client, ines, wish):
    Job.objects.update(state=Job.State.AGREED)
    old = Appointment.objects.create(
        job=wish.job,
        starts_at=NOW + dt.timedelta(days=5),
        ends_at=NOW + dt.timedelta(days=5, hours=2),
        agreed_at=NOW,
    )
    press(client, ines, "wish_offer", wish.job.public_id, offer(wish.job))
    old.refresh_from_db()
    wish.job.refresh_from_db()
    assert old.starts_at.date() == dt.date(2026, 12, 14)
    assert wish.job.state == Job.State.AGREED


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"day": "2026-11-24"}, "That day has passed."),
        ({"ends": "14:00"}, "later than the beginning"),
    ],
)
def test_an_offer_that_cannot_be_comes_back(client, ines, wish, change, message):
    response = press(client, ines, "wish_offer", wish.job.public_id, offer(wish.job, **change))
    assert response.status_code == 422
    assert message in response.content.decode()
    wish.refresh_from_db()
    assert wish.settled_at is None


def test_a_job_done_meanwhile_is_said_plainly(client, ines, wish):
    Job.objects.update(state=Job.State.DONE)
    response = press(client, ines, "wish_offer", wish.job.public_id, offer(wish.job))
    assert "This job is done" in response.content.decode()


def test_a_wish_settled_by_telephone_leaves_the_list(client, ines, wish):
    press(client, ines, "wish_settled", wish.job.public_id)
    wish.refresh_from_db()
    assert wish.settled_at == NOW
    assert "after three" not in text_of(client, ines)


def test_many_wishes_take_no_more_queries(client, ines, wish, django_assert_max_num_queries):
    for _ in range(5):
        job = make_job(make_system(ines.memberships.get().organisation), due_on=TODAY)
        DayRequest.objects.create(job=job, asked_at=NOW, days=[])
    client.force_login(ines)
    with django_assert_max_num_queries(25):
        client.get(reverse("scheduler:owner_requests"))
