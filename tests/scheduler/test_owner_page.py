"""The owner's page: what Omar sees and may send, and what nobody else does."""

import datetime as dt
import uuid

import pytest
from django.test import Client
from django.urls import reverse

from customers.models import OwnerLink, Party
from scheduler.models import Appointment, DayRequest, Job, TroubleReport
from scheduler.owner_links import MOST_WRITES, owner_url
from servicing.forecasts import refresh_forecast
from servicing.models import Emptying, Occupancy, System, Visit
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


# --- Trouble ---


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


# --- Guards ---


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
    with django_assert_max_num_queries(20):
        client.get(url)
