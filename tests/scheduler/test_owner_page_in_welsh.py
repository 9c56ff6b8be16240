"""The owner's page in the second language, and the way to it."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import translation

from customers.models import CountryProfile, Party, ProfileRule
from scheduler.models import Appointment, Job, TroubleReport
from scheduler.owner_links import owner_url, revoke_link
from scheduler.triage import SIGNS
from servicing.forecasts import refresh_forecast
from servicing.models import Emptying, System, Visit
from tests.make import (
    make_job,
    make_organisation,
    make_person,
    make_premises,
    make_system,
    make_user,
)
from tests.scheduler.messages.test_welsh import ENGLISH_WORDS, plain

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def place():
    # A pollution line is said as the country profile writes it, so in English for England.
    wales, _ = CountryProfile.objects.get_or_create(code="wales", defaults={"name": "Wales"})
    # A rule is named as its source names itself: that, too, is English.
    ProfileRule.objects.filter(profile=wales, key="record_years").delete()
    firm = make_organisation(name="Cwmni", phone="01632 960 111", profile=wales)
    return make_premises(firm, name="Melin")


@pytest.fixture
def omar(place):
    person = make_person(place.organisation, name="Omar", language="cy")
    Party.objects.create(premises=place, person=person, role="owner")
    return person


@pytest.fixture
def system(place):
    made = make_system(premises=place, last_emptied_on=dt.date(2025, 11, 1), reference="MH-1")
    visit = Visit.objects.create(
        organisation=place.organisation,
        system=made,
        visited_on=dt.date(2025, 11, 1),
        lid_back_on=True,
    )
    Emptying.objects.create(visit=visit, litres_removed=2700, all_compartments=True)
    refresh_forecast(made, today=NOW.date())
    return made


@pytest.fixture
def offered(system):
    job = make_job(system, due_on=dt.date(2026, 12, 20), state=Job.State.OFFERED)
    starts = dt.datetime(2026, 12, 8, 9, tzinfo=dt.UTC)
    Appointment.objects.create(job=job, starts_at=starts, ends_at=starts + dt.timedelta(hours=2))
    return job


@pytest.fixture
def url(place, omar, system):
    return owner_url(premises=place, person=omar)


def english_in(page):
    return ENGLISH_WORDS.findall(plain(page.content.decode()))


def test_the_whole_page_is_welsh(client, url, offered):
    page = client.get(url)
    assert '<html lang="cy">' in page.content.decode()
    assert english_in(page) == []
    assert "Dydd Mawrth 8 Rhagfyr 2026, 09:00 hyd 11:00" in page.content.decode()
    assert "Peidiwch â chodi'r clawr" in page.content.decode().replace("&#x27;", "'")


@pytest.mark.parametrize("page", ["owner_trouble", "owner_sale", "owner_check", "owner_mine"])
@pytest.mark.parametrize("send", [False, True])
def test_forms_and_their_errors_are_welsh(client, url, page, send):
    token = url.strip("/").split("/")[-1]
    address = reverse(f"scheduler:{page}", args=[token])
    answer = client.post(address, {}) if send else client.get(address)
    assert english_in(answer) == []


def test_bad_days_and_numbers_are_refused_in_welsh(client, url, offered):
    token = url.strip("/").split("/")[-1]
    bad = {"people-persons": "many", "people-since": "never"}
    people = client.post(reverse("scheduler:owner_people", args=[token]), bad)
    assert people.status_code == 422
    assert english_in(people) == []
    days = {f"wish-{offered.public_id.hex[:8]}-first": "1999-01-01"}
    address = reverse("scheduler:owner_other_day", args=[token, offered.public_id])
    assert english_in(client.post(address, days)) == []


@pytest.mark.parametrize("sign", SIGNS, ids=lambda sign: sign.key)
def test_what_to_do_is_said_in_welsh_and_kept_in_english(client, url, system, sign):
    System.objects.update(kind="package_plant")
    token = url.strip("/").split("/")[-1]
    told = {
        "trouble-system": system.public_id,
        "trouble-sign": sign.key,
        "trouble-key": "7c9e6679-7425-40de-944b-e07fc1f90ae7",
    }
    page = client.post(reverse("scheduler:owner_trouble", args=[token]), told, follow=True)
    assert page.status_code == 200
    assert english_in(page) == []
    kept = TroubleReport.objects.get()
    assert kept.advice.startswith(sign.likely)


def test_the_owner_changes_language_with_one_press_and_back(client, url, omar):
    token = url.strip("/").split("/")[-1]
    address = reverse("scheduler:owner_language", args=[token])
    assert ">English</button>" in client.get(url).content.decode()
    page = client.post(address, {"language": "en-gb"}, follow=True)
    assert '<html lang="en-gb">' in page.content.decode()
    omar.refresh_from_db()
    assert omar.language == "en-gb"
    assert ">Cymraeg</button>" in page.content.decode()


@pytest.mark.parametrize("language", ["", "tlh", "../../etc", "cy\r\nX: y"])
def test_a_language_nobody_speaks_changes_nothing(client, url, omar, language):
    token = url.strip("/").split("/")[-1]
    client.post(reverse("scheduler:owner_language", args=[token]), {"language": language})
    omar.refresh_from_db()
    assert omar.language == "cy"


def test_a_look_changes_no_language(client, url, omar):
    token = url.strip("/").split("/")[-1]
    assert client.get(reverse("scheduler:owner_language", args=[token])).status_code == 405


def test_the_next_reader_of_this_process_reads_english_again(client, url, omar):
    client.get(url)
    assert translation.get_language() == "en-gb"
    client.force_login(make_user(omar.organisation))
    page = client.get(reverse("customers:person", args=[omar.public_id])).content.decode()
    assert '<html lang="en-gb">' in page
    assert "<dt>Reads</dt><dd>Cymraeg</dd>" in re.sub(r">\s+<", "><", page)


def test_a_link_that_was_taken_back_says_so_in_welsh(client, url, omar):
    link = omar.links.get()
    revoke_link(link=link, by=make_user(omar.organisation), now=NOW)
    page = client.get(url)
    assert page.status_code == 410
    assert english_in(page) == []


def test_the_office_sets_what_a_person_reads(client, omar):
    client.force_login(make_user(omar.organisation))
    address = reverse("customers:person_edit", args=[omar.public_id])
    assert "What we usually write" in client.get(address).content.decode()
    client.post(address, {"name": "Omar", "language": "en-gb", "opened": ""})
    omar.refresh_from_db()
    assert omar.language == "en-gb"


@pytest.mark.parametrize("wanted", ["yes", "no"])
def test_reminders_of_the_look_round_are_answered_in_welsh(client, url, wanted):
    token = url.strip("/").split("/")[-1]
    address = reverse("scheduler:owner_remind", args=[token])
    assert english_in(client.post(address, {"wanted": wanted}, follow=True)) == []


@pytest.mark.parametrize("found", ["yes", "no"])
def test_a_look_round_is_noted_in_welsh(client, url, system, found):
    token = url.strip("/").split("/")[-1]
    address = reverse("scheduler:owner_check", args=[token])
    told = {
        "check-system": system.public_id,
        "check-checked_on": NOW.date().isoformat(),
        "check-all_well": found,
    }
    assert english_in(client.post(address, told, follow=True)) == []
    assert english_in(client.get(address)) == []


def test_what_is_held_is_named_in_welsh_and_the_file_stays_english(client, url, omar):
    token = url.strip("/").split("/")[-1]
    page = client.get(reverse("scheduler:owner_mine", args=[token])).content.decode()
    assert "<dt>Enw</dt><dd>Omar</dd>" in re.sub(r">\s+<", "><", page)
    assert "<dd>Perchennog</dd>" in page
    held = client.get(reverse("scheduler:owner_mine_file", args=[token])).json()["held"]
    assert held["places"][0]["as"] == "Owner"


def test_a_forbidden_outlet_is_told_in_welsh(client, url, place):
    rules = ProfileRule.objects.filter(key="no_septic_to_watercourse")
    rules.filter(profile=place.organisation.profile).delete()
    rules.create(
        profile=place.organisation.profile,
        key="no_septic_to_watercourse",
        value=True,
        source="Rheol",
        valid_from=dt.date(2024, 1, 1),
        standing="check",
    )
    System.objects.update(kind="septic_tank", discharge="watercourse")
    page = client.get(url)
    assert "Mae tanc septig yn gollwng i gwrs dŵr." in page.content.decode()
    assert english_in(page) == []


def test_a_sale_refused_is_refused_in_welsh(client, url):
    token = url.strip("/").split("/")[-1]
    address = reverse("scheduler:owner_sale", args=[token])
    for day in ("1850-01-01", "1999-01-01", "never"):
        page = client.post(address, {"completes_on": day, "buyer_email": "nobody"})
        assert page.status_code == 422
        assert english_in(page) == []
