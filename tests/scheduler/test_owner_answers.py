"""What Omar may send from his page: a yes, another day, how many they are."""

import datetime as dt

import pytest

from customers.models import Party
from scheduler.models import Appointment, DayRequest, Job
from scheduler.owner_links import owner_url
from servicing.forecasts import refresh_forecast
from servicing.models import Occupancy
from tests.make import make_job, make_organisation, make_person, make_premises, make_system

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def premises():
    firm = make_organisation(name="Firm", phone="01632 960 111")
    return make_premises(
        firm, name="Mill House", gate_code="4711#", access_note="key under the third pot"
    )


@pytest.fixture
def system(premises):
    made = make_system(
        premises=premises,
        installed_on=dt.date(2012, 1, 1),
        last_emptied_on=dt.date(2025, 11, 1),
        reference="MH-1",
        notes="owes us money",
    )
    refresh_forecast(made, today=TODAY)
    return made


@pytest.fixture
def omar(premises):
    person = make_person(premises.organisation, name="Omar")
    Party.objects.create(premises=premises, person=person, role="owner")
    return person


@pytest.fixture
def url(premises, system, omar):
    return owner_url(premises=premises, person=omar)


@pytest.fixture
def offered(system):
    job = make_job(system, due_on=TODAY + dt.timedelta(days=30), state=Job.State.OFFERED)
    Appointment.objects.create(
        job=job,
        starts_at=dt.datetime(2026, 12, 8, 8, tzinfo=dt.UTC),
        ends_at=dt.datetime(2026, 12, 8, 10, tzinfo=dt.UTC),
    )
    return job


def text_of(client, url):
    return client.get(url).content.decode().replace("\xa0", " ")


# --- The offered day ---


def test_the_offered_day_is_told_on_the_clock_of_the_place(client, url, offered):
    assert "Tuesday 8 December 2026, 08:00 to 10:00" in text_of(client, url)


def test_yes_agrees_to_it_once(client, url, offered):
    agree = f"{url}agree/{offered.public_id}/"
    assert client.post(agree).status_code == 302
    first = Appointment.objects.get().agreed_at
    client.post(agree)
    offered.refresh_from_db()
    assert offered.state == Job.State.AGREED
    assert Appointment.objects.get().agreed_at == first == NOW
    assert Appointment.objects.get().agreed_by == "link"


def test_yes_settles_a_wish_for_another_day(client, url, offered):
    client.post(f"{url}other-day/{offered.public_id}/", wish(offered, first="2026-12-14"))
    client.post(f"{url}agree/{offered.public_id}/")
    assert DayRequest.objects.get().settled_at == NOW


def test_looking_at_the_page_agrees_to_nothing(client, url, offered):
    assert client.get(f"{url}agree/{offered.public_id}/").status_code == 405
    offered.refresh_from_db()
    assert offered.state == Job.State.OFFERED


def test_a_day_no_longer_open_is_said_plainly(client, url, offered, time_machine):
    time_machine.move_to(dt.datetime(2026, 12, 9, tzinfo=dt.UTC))
    response = client.post(f"{url}agree/{offered.public_id}/", follow=True)
    assert "no longer open" in response.content.decode()


def test_another_day_is_noted_once_however_often_it_is_asked(client, url, offered, omar):
    said = wish(offered, first="2026-12-14", second="2026-12-15", words="after three")
    for _ in range(2):
        assert client.post(f"{url}other-day/{offered.public_id}/", said).status_code == 302
    request = DayRequest.objects.get()
    assert request.days == ["2026-12-14", "2026-12-15"]
    assert (request.person, request.words) == (omar, "after three")
    assert "We are looking at it" in text_of(client, url)


def wish(job, **fields):
    return {f"wish-{job.public_id.hex[:8]}-{name}": value for name, value in fields.items()}


@pytest.mark.parametrize(
    ("first", "message"),
    [
        ("", "Give a day."),
        ("2026-11-25", "Choose a day from tomorrow on."),
        ("2029-01-01", "within the next thirteen months"),
        ("soon", "Give a day of the calendar."),
    ],
)
def test_a_day_that_cannot_be_is_told_and_the_words_stay(client, url, offered, first, message):
    said = wish(offered, first=first, words="after three")
    response = client.post(f"{url}other-day/{offered.public_id}/", said)
    assert response.status_code == 422
    assert message in response.content.decode()
    assert "after three" in response.content.decode()
    assert not DayRequest.objects.exists()


@pytest.mark.parametrize("part", ["agree", "other-day"])
def test_a_job_at_another_place_is_not_there(client, url, premises, part):
    other = make_system(premises=make_premises(premises.organisation))
    job = make_job(other, due_on=TODAY, state=Job.State.OFFERED)
    said = wish(job, first="2026-12-14")
    assert client.post(f"{url}{part}/{job.public_id}/", said).status_code == 404
    assert not DayRequest.objects.exists()


# --- How many live there ---


def people(system, persons, since="2026-11-01"):
    return {
        "people-system": str(system.public_id),
        "people-persons": str(persons),
        "people-since": since,
    }


def test_more_people_bring_the_next_emptying_nearer(client, url, system):
    before = system.forecast.removal_p50
    assert client.post(f"{url}people/", people(system, 8)).status_code == 302
    system.forecast.refresh_from_db()
    assert system.forecast.removal_p50 < before
    told = system.occupancies.get(since=dt.date(2026, 11, 1))
    assert (told.persons, told.told_by, told.told_at) == (8, "Omar", NOW)


def test_telling_it_twice_is_one_row_and_a_correction_changes_it(client, url, system):
    for persons in (5, 5, 6):
        client.post(f"{url}people/", people(system, persons))
    assert [row.persons for row in system.occupancies.exclude(since=None)] == [6]


def test_what_else_is_known_of_the_use_stays(client, url, system):
    system.occupancies.update(use=Occupancy.Use.HOLIDAY_LET, weeks_per_year=30)
    client.post(f"{url}people/", people(system, 5))
    told = system.occupancies.get(since=dt.date(2026, 11, 1))
    assert (told.use, told.weeks_per_year) == (Occupancy.Use.HOLIDAY_LET, 30)


@pytest.mark.parametrize(
    ("persons", "since", "message"),
    [
        ("", "2026-11-01", "Say how many."),
        ("-1", "2026-11-01", "greater than or equal to 0"),
        ("61", "2026-11-01", "please ring us"),
        ("two", "2026-11-01", "Give a whole number."),
        ("3", "2011-12-31", "It was put in on"),
        ("3", "2030-01-01", "within the next thirteen months"),
    ],
)
def test_a_number_that_cannot_be_is_told(client, *, url, system, persons, since, message):
    response = client.post(f"{url}people/", people(system, persons, since))
    assert response.status_code == 422
    assert message in response.content.decode()
    assert system.occupancies.count() == 1


def test_a_pub_is_not_asked_how_many_live_there(client, url, system):
    system.occupancies.update(use=Occupancy.Use.RESTAURANT)
    assert "How many live here?" not in text_of(client, url)
    assert client.post(f"{url}people/", people(system, 3)).status_code == 404


def test_a_system_of_another_place_cannot_be_named(client, url, system, premises):
    other = make_system(premises=make_premises(premises.organisation))
    assert client.post(f"{url}people/", people(other, 9)).status_code == 422
    assert other.occupancies.get().persons == 3
