"""Measurements that contradict what was expected are asked about, and the answers kept."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from servicing.forecasting.questions import EMPTIER, FULLER
from servicing.forecasts import refresh_forecast
from servicing.forecasts.questions import answer_question, still_to_measure, what_next
from servicing.models import Question
from tests.make import make_system, make_user
from tests.servicing.test_fleet_learning import dip

pytestmark = pytest.mark.django_db

TODAY = dt.date(2027, 1, 4)


@pytest.fixture
def contradicted():
    """One person, one year, and a tank found nearly full: twenty times what was expected."""
    system = make_system(last_emptied_on=dt.date(2025, 1, 1), occupancy={"persons": 1})
    dip(system, dt.date(2026, 1, 1), 2500)
    refresh_forecast(system, today=TODAY)
    return system


@pytest.fixture
def ines(contradicted):
    return make_user(contradicted.organisation)


def test_a_measurement_that_contradicts_is_asked_about_once(contradicted):
    refresh_forecast(contradicted, today=TODAY)
    question = Question.objects.get()
    assert (question.system, question.about_on) == (contradicted, dt.date(2026, 1, 1))
    assert "much fuller than expected" in question.text


def test_a_measurement_that_fits_is_not_asked_about():
    system = make_system(last_emptied_on=dt.date(2025, 1, 1))
    dip(system, dt.date(2026, 1, 1), 400)
    refresh_forecast(system, today=TODAY)
    assert not Question.objects.exists()


def test_every_answer_the_science_offers_can_be_given():
    assert {*FULLER, *EMPTIER} <= set(Question.Answer.labels)
    assert all(what_next(Question(answer=value)) for value in Question.Answer.values)


def test_a_question_falls_away_when_the_record_is_put_right_and_comes_back_with_it(contradicted):
    reading = contradicted.visits.get().dips.get()
    for litres, fell_away in ((250, TODAY), (2500, None)):
        reading.litres = litres
        reading.save(update_fields=["litres"])
        refresh_forecast(contradicted, today=TODAY)
        assert Question.objects.get().fell_away_on == fell_away


def test_ines_answers_on_the_page_and_the_system_shows_it(client, contradicted, ines):
    client.force_login(ines)
    question = Question.objects.get()
    address = reverse("servicing:question", args=[question.public_id])
    assert address in client.get(reverse("servicing:questions")).content.decode()
    client.post(address, {"answer": "more_people", "note": "Omar's parents moved in."})
    question.refresh_from_db()
    assert (question.answer, question.answered_by) == ("more_people", ines)
    page = client.get(reverse("servicing:system", args=[contradicted.public_id])).content.decode()
    assert "More people live there than we know" in page
    assert "Omar&#x27;s parents moved in." in page


def test_an_answer_that_was_not_offered_is_refused_at_the_field(client, contradicted, ines):
    client.force_login(ines)
    address = reverse("servicing:question", args=[Question.objects.get().public_id])
    page = client.post(address, {"answer": "emptied", "note": "kept"})
    assert "is not one of the available choices" in page.content.decode()
    assert "kept" in page.content.decode()
    assert Question.objects.get().is_open


def test_a_stranger_does_not_find_it_and_a_reader_may_not_answer(client, contradicted):
    question = Question.objects.get()
    client.force_login(make_user())
    address = reverse("servicing:question", args=[question.public_id])
    assert client.get(address).status_code == 404
    reader = make_user(contradicted.organisation, role="reader")
    with pytest.raises(PermissionDenied):
        answer_question(question=question, answer="stands", note="", by=reader)


def test_measure_again_stands_on_the_list_until_somebody_has(contradicted, ines):
    organisation = contradicted.organisation
    answer_question(question=Question.objects.get(), answer="measure_again", note="", by=ines)
    assert [one.system for one in still_to_measure(organisation)] == [contradicted]
    dip(contradicted, dt.date(2027, 1, 3), 600)
    assert still_to_measure(organisation) == []


def test_an_answered_question_is_not_asked_again(contradicted, ines):
    answer_question(question=Question.objects.get(), answer="stands", note="", by=ines)
    refresh_forecast(contradicted, today=TODAY + dt.timedelta(days=30))
    assert not Question.objects.open().exists()
