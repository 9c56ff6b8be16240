"""The owner's page: what Omar sees, and what nobody else does."""

import datetime as dt
import uuid

import pytest
from django.test import Client
from django.urls import reverse

from customers.models import OwnerLink, Party
from scheduler.models import Appointment, Job
from scheduler.owner_links import MOST_WRITES, owner_url
from servicing.forecasts import refresh_forecast
from servicing.models import Emptying, Visit
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


# --- Opening ---


def test_the_page_opens_without_an_account_and_counts_the_look(client, url):
    response = client.get(url)
    assert response.status_code == 200
    assert OwnerLink.objects.get().times_opened == 1


def test_the_page_is_kept_by_nobody_and_found_by_no_search(client, url):
    response = client.get(url)
    assert response["Cache-Control"] == "private, no-store"
    assert response["Referrer-Policy"] == "same-origin"
    assert response["X-Robots-Tag"] == "noindex, nofollow"
    assert b'<meta name="robots" content="noindex, nofollow">' in response.content


def test_a_changed_link_is_a_plain_404(client, url):
    response = client.get(url[:-3] + "xx/")
    assert response.status_code == 404
    assert "This address is not complete" in response.content.decode()
    assert "Mill House" not in response.content.decode()


def test_a_link_taken_back_says_so_with_the_firms_number(client, url):
    OwnerLink.objects.update(revoked_at=NOW)
    response = client.get(url)
    assert response.status_code == 410
    text = response.content.decode()
    assert "01632 960 111" in text
    assert "Mill House" not in text


@pytest.mark.parametrize("part", ["people/", "trouble/", "agree/{}/", "other-day/{}/"])
def test_a_link_taken_back_takes_nothing(client, url, offered, part):
    OwnerLink.objects.update(revoked_at=NOW)
    response = client.post(url + part.format(offered.public_id), {})
    assert response.status_code == 410


# --- Seeing ---


def test_the_page_says_when_in_words(client, url, system):
    text = text_of(client, url)
    assert "Next emptying" in text
    assert "likely between" in text.lower() or "by " in text.lower()
    assert "1 Nov 2025" in text


def test_the_page_shows_the_level_with_words_beside_it(client, url):
    text = text_of(client, url)
    assert "<svg" in text
    assert "of sludge and scum" in text


def test_past_visits_are_listed_and_a_replaced_one_is_not(client, url, system):
    def visit(day, **fields):
        return Visit.objects.create(
            organisation=system.organisation,
            system=system,
            visited_on=day,
            lid_back_on=True,
            **fields,
        )

    good = visit(dt.date(2025, 11, 1))
    Emptying.objects.create(visit=good, litres_removed=2700)
    visit(dt.date(2025, 10, 30), replaced_by=good)
    text = text_of(client, url)
    assert "2,700 L taken away" in text
    assert "30 Oct 2025" not in text


def test_nothing_of_the_office_leaks(client, url):
    text = text_of(client, url)
    for secret in ("4711#", "third pot", "owes us money"):
        assert secret not in text


def test_other_places_and_their_people_stay_unseen(client, url, premises):
    other = make_premises(premises.organisation, name="Nether Farm")
    make_system(premises=other, reference="NF-1")
    text = text_of(client, url)
    assert "Nether Farm" not in text
    assert "NF-1" not in text


def test_cautions_and_the_drain_are_on_the_page(client, url):
    text = text_of(client, url)
    assert "Please do not lift the cover or look inside" in text
    assert "Never down the drain" in text


# --- Guards ---


def people(system, persons, since="2026-11-01"):
    return {
        "people-system": str(system.public_id),
        "people-persons": str(persons),
        "people-since": since,
    }


def test_using_a_link_does_not_lengthen_its_life(client, url, system, time_machine):
    time_machine.shift(dt.timedelta(days=300))
    response = client.post(f"{url}people/", people(system, 4, "2026-12-01"))
    assert response.url == url


def test_too_much_at_once_is_stopped_and_writes_nothing_more(client, url, system):
    for _ in range(MOST_WRITES):
        client.post(f"{url}people/", people(system, 4))
    response = client.post(f"{url}people/", people(system, 9))
    assert response.status_code == 429
    assert not system.occupancies.filter(persons=9).exists()


def test_a_form_from_elsewhere_is_refused(url, system):
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(f"{url}people/", people(system, 9)).status_code == 403
    assert system.occupancies.get().persons == 3


def test_every_address_behind_a_link_asks_for_the_link(client):
    token, key = "no-link", uuid.uuid4()
    for name, arguments in (
        ("owner", [token]),
        ("owner_people", [token]),
        ("owner_trouble", [token]),
        ("owner_advice", [token, key]),
        ("owner_agree", [token, key]),
        ("owner_other_day", [token, key]),
    ):
        address = reverse(f"scheduler:{name}", args=arguments)
        assert client.get(address).status_code == client.post(address).status_code == 404


def test_the_page_takes_few_queries(client, url, offered, django_assert_max_num_queries):
    with django_assert_max_num_queries(22):
        client.get(url)
