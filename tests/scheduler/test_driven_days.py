"""Today's round on the crew's phone: what it shows and what is noted while driving."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from scheduler.driven_days import mark_arrived, mark_left, rounds_to_drive
from scheduler.models import Job, Stop
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
    make_works,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
LATER = NOW + dt.timedelta(minutes=40)
TODAY = NOW.date()


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
def crew(operator, tess):
    return make_crew(operator, user=tess)


@pytest.fixture
def planned(operator, crew):
    return make_round(operator, crew, day=TODAY)


def job_of(operator, **fields):
    return make_job(make_system(), handed_to=operator, due_on=TODAY, **fields)


def press(client, user, stop, name, data=None):
    client.force_login(user)
    return client.post(reverse(f"scheduler:{name}", args=[stop.public_id]), data or {})


def text_of(client, user):
    client.force_login(user)
    return client.get(reverse("scheduler:today")).content.decode()


def test_a_crew_drives_its_own_accepted_rounds_of_the_days_asked(operator, crew, tess, planned):
    make_round(operator, make_crew(operator), day=TODAY)
    make_round(operator, crew, day=TODAY, accepted_at=None)
    make_round(operator, crew, day=TODAY + dt.timedelta(days=2))
    assert list(rounds_to_drive(tess, [TODAY, TODAY + dt.timedelta(days=1)])) == [planned]


def test_a_round_without_a_crew_is_driven_by_that_of_its_tanker(operator, crew, tess):
    own = make_round(operator, day=TODAY, tanker=make_tanker(operator, crew=crew))
    assert list(rounds_to_drive(tess, [TODAY])) == [own]


def test_who_left_the_firm_sees_its_rounds_no_more(planned, tess):
    tess.memberships.all().delete()
    assert not rounds_to_drive(tess, [TODAY])


def test_arriving_is_noted_once_and_the_job_is_under_way(planned, operator, tess):
    stop = make_stop(planned, job=job_of(operator, state=Job.State.AGREED))
    assert mark_arrived(stop=stop, by=tess, now=NOW)
    assert not mark_arrived(stop=stop, by=tess, now=LATER)
    stop.refresh_from_db()
    stop.job.refresh_from_db()
    assert (stop.arrived_at, stop.job.state) == (NOW, Job.State.UNDER_WAY)


def test_leaving_needs_an_arrival_and_is_noted_once(planned, operator, tess):
    stop = make_stop(planned, job=job_of(operator))
    assert not mark_left(stop=stop, by=tess, now=NOW)
    mark_arrived(stop=stop, by=tess, now=NOW)
    assert mark_left(stop=stop, by=tess, now=LATER)
    assert not mark_left(stop=stop, by=tess, now=LATER + dt.timedelta(hours=1))
    stop.refresh_from_db()
    assert stop.left_at == LATER


def test_arriving_at_a_job_already_done_does_not_open_it_again(planned, operator, tess):
    stop = make_stop(planned, job=job_of(operator, state=Job.State.DONE))
    mark_arrived(stop=stop, by=tess, now=NOW)
    stop.job.refresh_from_db()
    assert stop.job.state == Job.State.DONE


@pytest.mark.parametrize("role", ["reader", None])
def test_who_may_not_visit_marks_nothing(planned, operator, role):
    sid = make_user(operator if role else None, role or "crew", name="Sid")
    stop = make_stop(planned, job=job_of(operator))
    with pytest.raises(PermissionDenied):
        mark_arrived(stop=stop, by=sid, now=NOW)
    assert Stop.objects.filter(arrived_at__isnull=True).exists()


# --- The page ---


def test_the_page_lists_stops_in_driving_order(client, planned, operator, tess):
    jobs = [job_of(operator) for _ in range(3)]
    for job in jobs:
        make_stop(planned, job=job)
    text = text_of(client, tess)
    places = [text.index(job.system.premises.name) for job in jobs]
    assert places == sorted(places)
    assert all(reverse("scheduler:job_sheet", args=[job.public_id]) in text for job in jobs)


def test_times_are_on_the_clock_of_the_firm(client, operator, crew, tess):
    planned = make_round(operator, crew, day=TODAY)
    at = dt.datetime(2026, 7, 1, 7, 5, tzinfo=dt.UTC)
    make_stop(planned, job=job_of(operator), arrive_at=at)
    assert "08:05" in text_of(client, tess)


def test_nobody_is_asked_to_sign_in(client):
    assert client.get(reverse("scheduler:today")).status_code == 302


def test_who_drives_with_no_crew_is_told_so(client, operator):
    assert "has not named you" in text_of(client, make_user(operator))


def test_i_am_there_leads_to_the_sheet(client, planned, operator, tess):
    stop = make_stop(planned, job=job_of(operator))
    response = press(client, tess, stop, "stop_arrived")
    assert response.url == reverse("scheduler:job_sheet", args=[stop.job.public_id])


@pytest.mark.parametrize("name", ["stop_arrived", "stop_left", "stop_tipped"])
def test_a_stranger_gets_404_and_a_reader_403(client, planned, operator, name):
    stop = make_stop(planned, works=make_works(operator))
    assert press(client, make_user(make_organisation()), stop, name).status_code == 404
    assert press(client, make_user(operator, "reader"), stop, name).status_code == 403
    client.force_login(make_user(operator))
    assert client.get(reverse(f"scheduler:{name}", args=[stop.public_id])).status_code == 405


def test_a_stop_of_a_mere_proposal_is_not_there(client, operator, crew, tess):
    proposal = make_round(operator, crew, day=TODAY, accepted_at=None)
    stop = make_stop(proposal, works=make_works(operator))
    assert press(client, tess, stop, "stop_arrived").status_code == 404


def test_a_ticket_is_taken_in_the_firms_units(client, planned, operator, tess):
    operator.units = "imperial_gallons"
    operator.save()
    stop = make_stop(planned, works=make_works(operator))
    said = {f"tip-{stop.pk}-volume": "2000", f"tip-{stop.pk}-ticket": "T-9"}
    assert press(client, tess, stop, "stop_tipped", said).status_code == 302
    stop.refresh_from_db()
    # Weights and Measures Act 1985, Schedule 1: a gallon is 4.54609 L.
    assert (stop.tipped_litres, stop.tip_ticket) == (9092, "T-9")


@pytest.mark.parametrize(
    ("volume", "message"),
    [("", "Say how much was tipped."), ("900000", "No tanker holds that much.")],
)
def test_a_wrong_ticket_comes_back_with_what_was_typed(
    client, *, planned, operator, tess, volume, message
):
    stop = make_stop(planned, works=make_works(operator))
    said = {f"tip-{stop.pk}-volume": volume, f"tip-{stop.pk}-ticket": "T-9"}
    response = press(client, tess, stop, "stop_tipped", said)
    text = response.content.decode()
    assert response.status_code == 422
    assert message in text
    assert 'value="T-9"' in text


def test_a_long_round_takes_no_more_queries(
    client, planned, operator, tess, django_assert_max_num_queries
):
    for _ in range(8):
        make_stop(planned, job=job_of(operator))
    client.force_login(tess)
    with django_assert_max_num_queries(16):
        client.get(reverse("scheduler:today"))
