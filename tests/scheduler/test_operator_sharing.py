"""Work shared between an installer and a tanker operator. Rules of the job, no source."""

import pytest
import time_machine

from customers.models import Organisation
from scheduler.models import Job, Round, Stop, Tanker
from tests.make import make_crew, make_organisation, make_tanker, make_user, make_works
from tests.scheduler.planning import THE_DAY_BEFORE, accepted_day, job_at

pytestmark = pytest.mark.django_db
PAGE, HAND = "/rounds/operator/", "/due/drivers/"


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(THE_DAY_BEFORE, tick=False):
        yield


@pytest.fixture
def operator():
    operator = make_organisation(name="Brindle", slug="brindle-tankers")
    make_works(operator)
    make_tanker(operator, crew=make_crew(operator))
    return operator


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def desk(client, office):
    client.force_login(make_user(office))
    return client


def operator_of(office):
    return Organisation.objects.get(pk=office.pk).tanker_operator


def test_a_code_is_looked_up_first_and_chosen_on_confirming(desk, office, operator):
    page = desk.post(PAGE, {"code": "brindle-tankers"}).content.decode()
    assert "Brindle" in page
    assert operator_of(office) is None
    desk.post(PAGE, {"code": "brindle-tankers", "confirm": "yes"})
    assert operator_of(office) == operator
    assert office.history.first().tanker_operator == operator


@pytest.mark.parametrize("code", ["", "nobody", "BR!", "own"])
def test_a_code_that_names_no_operator_is_said_at_the_field(desk, office, operator, code):
    code = office.slug if code == "own" else code
    response = desk.post(PAGE, {"code": code, "confirm": "yes"})
    assert response.status_code == 422
    assert operator_of(office) is None


def test_a_firm_without_a_tanker_cannot_be_chosen_as_operator(desk, office):
    make_organisation(slug="no-tanker")
    assert desk.post(PAGE, {"code": "no-tanker", "confirm": "yes"}).status_code == 422
    assert operator_of(office) is None


def test_many_jobs_are_handed_over_and_taken_back_at_once(desk, office, operator):
    Organisation.objects.filter(pk=office.pk).update(tanker_operator=operator)
    jobs = [job_at(office) for _ in range(3)]
    picked = [str(job.public_id) for job in jobs[:2]]
    desk.post(HAND, {"jobs": picked, "over": "yes"})
    assert Job.objects.filter(handed_to=operator).count() == 2
    desk.post(HAND, {"jobs": picked[:1], "back": "yes"})
    assert list(Job.objects.filter(handed_to=operator)) == [jobs[1]]


def test_what_is_under_way_stays_and_is_said(desk, office, operator):
    Organisation.objects.filter(pk=office.pk).update(tanker_operator=operator)
    job = job_at(office, state=Job.State.UNDER_WAY)
    page = desk.post(HAND, {"jobs": [str(job.public_id)], "over": "yes"}, follow=True)
    assert b"cannot be handed over" in page.content
    assert not Job.objects.filter(handed_to=operator).exists()


def test_jobs_of_others_and_nonsense_are_passed_over(desk, office, operator):
    Organisation.objects.filter(pk=office.pk).update(tanker_operator=operator)
    theirs = job_at(make_organisation())
    desk.post(HAND, {"jobs": [str(theirs.public_id), "x" * 36, ""], "over": "yes"})
    assert not Job.objects.filter(handed_to=operator).exists()


def test_a_job_taken_back_leaves_the_operators_round_at_once(desk, office, operator):
    Organisation.objects.filter(pk=office.pk).update(tanker_operator=operator)
    jobs = [job_at(office, handed_to=operator) for _ in range(2)]
    planner = make_user(operator, "planner")
    tanker = operator_tanker(operator)
    accepted_day(operator, planner, [tanker], jobs)
    desk.post(HAND, {"jobs": [str(jobs[0].public_id)], "back": "yes"})
    left = Stop.objects.filter(round__in=Round.objects.filter(accepted_at__isnull=False))
    assert set(left.values_list("job", flat=True)) - {None} == {jobs[1].pk}


def operator_tanker(operator):
    return Tanker.objects.get(organisation=operator)


def test_the_operator_sees_whose_job_it_is_and_not_what_was_said(client, office, operator):
    job = job_at(office, handed_to=operator)
    client.force_login(make_user(operator, "planner"))
    page = client.get(f"/due/jobs/{job.public_id}/").content.decode()
    assert office.name in page
    assert "What was said" not in page
    assert "Changes</h2>" not in page


def test_a_cancelled_visit_leaves_its_round_with_the_answer_of_the_page(client, operator):
    planner = make_user(operator, "planner")
    jobs = [job_at(operator) for _ in range(2)]
    accepted_day(operator, planner, [operator_tanker(operator)], jobs)
    client.force_login(planner)
    client.post(f"/due/jobs/{jobs[0].public_id}/off/cancel/", {"because": "Owner away"})
    assert not Stop.objects.filter(round__accepted_at__isnull=False, job=jobs[0]).exists()
