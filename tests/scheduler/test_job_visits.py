"""A job done in several visits: one load after another, the last closes it. No source."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from scheduler import booking
from scheduler.job_visits import is_last_to_record, litres_noted, record_load
from scheduler.models import Job
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_round,
    make_stop,
    make_system,
    make_user,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def operator():
    return make_organisation(name="Operator")


@pytest.fixture
def tess(operator):
    return make_user(operator, "crew", name="Tess")


@pytest.fixture
def visits(operator, tess):
    """One job of 18,000 L in two visits of two tankers."""
    job = make_job(
        make_system(), handed_to=operator, state=Job.State.AGREED, due_on=NOW.date(), litres=18_000
    )
    rounds = [
        make_round(operator, make_crew(operator, user=tess), day=NOW.date()) for _ in range(2)
    ]
    return [make_stop(row, job=job, part=part) for part, row in enumerate(rounds, start=1)]


def note(stop, by, litres=9_000):
    record_load(stop=stop, litres=litres, note="Ring first", by=by, now=NOW)
    stop.refresh_from_db()
    return Job.objects.get(pk=stop.job_id)


def test_the_first_load_is_noted_and_the_job_stays_open(visits, tess):
    first, last = visits
    assert not is_last_to_record(first)
    job = note(first, tess)
    assert (first.taken_litres, first.part_note) == (9_000, "Ring first")
    assert first.arrived_at == first.left_at == NOW
    assert job.state == Job.State.UNDER_WAY
    assert litres_noted(job) == 9_000
    assert is_last_to_record(last)


def test_whichever_visit_comes_last_has_the_job_sheet(visits, tess):
    first, last = visits
    note(last, tess)
    with pytest.raises(booking.NotPossible, match="last visit"):
        note(first, tess)


def test_a_load_noted_again_is_put_right(visits, tess):
    first, _ = visits
    note(first, tess)
    assert litres_noted(note(first, tess, litres=8_500)) == 8_500


def test_a_job_that_is_closed_takes_no_load(visits, tess):
    Job.objects.update(state=Job.State.DONE)
    with pytest.raises(booking.NotPossible, match="done already"):
        note(visits[0], tess)


def test_a_job_done_in_one_visit_has_only_its_sheet(visits, tess):
    visits[0].part = None
    with pytest.raises(booking.NotPossible, match="one visit"):
        note(visits[0], tess)


def test_sid_notes_no_load(visits, client):
    sid = make_user(make_organisation(), "crew")
    with pytest.raises(PermissionDenied):
        note(visits[0], sid)
    client.force_login(sid)
    assert client.get(reverse("scheduler:stop_load", args=[visits[0].public_id])).status_code == 404


def test_the_sheet_of_a_load_asks_for_the_cover(visits, tess, client):
    client.force_login(tess)
    address = reverse("scheduler:stop_load", args=[visits[0].public_id])
    page = client.get(address).content.decode()
    assert "Visit 1 at" in page
    assert "Stop" in page
    refused = client.post(address, {"volume": "9000"})
    assert refused.status_code == 422
    assert "put it back" in refused.content.decode()
    assert client.post(address, {"volume": "9000", "lid_back_on": "on"}).status_code == 302
    visits[0].refresh_from_db()
    assert visits[0].taken_litres == 9_000


def test_at_the_last_visit_the_job_sheet_opens_and_says_what_was_taken(visits, tess, client):
    note(visits[0], tess)
    client.force_login(tess)
    answer = client.get(reverse("scheduler:stop_load", args=[visits[1].public_id]))
    assert answer.url == reverse("scheduler:job_sheet", args=[visits[1].job.public_id])
    assert "9,000" in client.get(answer.url).content.decode()


def test_today_leads_to_the_sheet_of_the_load(visits, tess, client):
    client.force_login(tess)
    page = client.get(reverse("scheduler:today")).content.decode()
    assert reverse("scheduler:stop_load", args=[visits[0].public_id]) in page
    assert "visit 2 of one job" in page
