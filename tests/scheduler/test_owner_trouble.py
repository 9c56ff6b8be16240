"""Trouble reported from the owner's page, and what the owner is told."""

import datetime as dt
import uuid

import pytest

from customers.models import Party
from scheduler.models import Job, TroubleReport
from scheduler.owner_links import owner_url
from servicing.forecasts import refresh_forecast
from servicing.models import System
from tests.make import make_organisation, make_person, make_premises, make_system

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


def text_of(client, url):
    return client.get(url).content.decode().replace("\xa0", " ")


def trouble(system, sign, key=None, words=""):
    return {
        "trouble-system": str(system.public_id),
        "trouble-key": str(key or uuid.uuid4()),
        "trouble-sign": sign,
        "trouble-words": words,
    }


def test_sewage_indoors_makes_an_urgent_call_out_and_says_what_to_do(client, url, system):
    said = trouble(system, "sewage_up", words="in the shower")
    response = client.post(f"{url}trouble/", said, follow=True)
    report = TroubleReport.objects.get()
    assert (report.priority, report.job.kind, report.job.urgent) == (1, Job.Kind.CALL_OUT, True)
    assert "in the shower" in report.job.why
    text = response.content.decode()
    assert "Stop using water" in text
    assert "Ring 01632 960 111" in text


def test_one_slow_sink_makes_no_job(client, url, system):
    client.post(f"{url}trouble/", trouble(system, "one_slow"))
    assert TroubleReport.objects.get().job is None
    assert not Job.objects.exists()


def test_the_same_report_twice_is_one_report_and_one_job(client, url, system):
    said = trouble(system, "all_slow")
    first = client.post(f"{url}trouble/", said)
    assert client.post(f"{url}trouble/", said).url == first.url
    assert TroubleReport.objects.count() == Job.objects.count() == 1


def test_a_second_report_joins_the_open_call_out_and_only_hurries_it(client, url, system):
    client.post(f"{url}trouble/", trouble(system, "sewage_up"))
    client.post(f"{url}trouble/", trouble(system, "smell_dry"))
    job = Job.objects.get()
    assert (job.urgent, job.due_on) == (True, TODAY)
    assert TroubleReport.objects.filter(job=job).count() == 2


def test_a_report_without_a_sign_comes_back_with_its_words(client, url, system):
    response = client.post(f"{url}trouble/", trouble(system, "", words="odd noises"))
    assert response.status_code == 422
    assert "odd noises" in response.content.decode()


def test_pollution_names_the_line_of_the_country(client, url, system, premises):
    profile = premises.organisation.profile
    profile.emergency_line = "Pollution line 0000"
    profile.save()
    response = client.post(f"{url}trouble/", trouble(system, "ditch_foul"), follow=True)
    assert "Pollution line 0000" in response.content.decode()


def test_the_advice_of_another_place_is_not_there(client, url, premises):
    other = make_system(premises=make_premises(premises.organisation))
    report = TroubleReport.objects.create(
        public_id=uuid.uuid4(),
        system=other,
        reported_at=NOW,
        symptom="all_slow",
        advice="x",
        priority=2,
    )
    assert client.get(f"{url}trouble/{report.public_id}/").status_code == 404


def test_a_key_used_at_another_place_shows_nothing_of_it(client, url, system, premises):
    other = make_system(premises=make_premises(premises.organisation))
    foreign = TroubleReport.objects.create(
        public_id=uuid.uuid4(),
        system=other,
        reported_at=NOW,
        symptom="one_slow",
        words="theirs",
        advice="x",
        priority=4,
    )
    said = trouble(system, "all_slow", key=foreign.public_id)
    response = client.post(f"{url}trouble/", said, follow=True)
    assert response.status_code == 200
    assert system.trouble_reports.get().symptom == "all_slow"


def test_lamps_are_offered_only_at_a_plant(client, url, system):
    assert "red lamp" not in text_of(client, f"{url}trouble/")
    System.objects.update(kind=System.Kind.PACKAGE_PLANT)
    assert "red lamp" in text_of(client, f"{url}trouble/")
