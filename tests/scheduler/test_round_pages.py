"""The planner's pages as each person meets them. Rules of the job."""

import datetime as dt

import pytest
import time_machine
from django.urls import reverse

from scheduler import round_plans, rounds
from scheduler.models import Job, PlanRun, Round, Stop
from scheduler.round_plans import PlanSettings
from scheduler.work_ahead import weeks_ahead
from servicing.models import Forecast
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_premises,
    make_system,
    make_tanker,
    make_user,
    make_works,
)

DAY = dt.date(2027, 3, 2)
NOW = dt.datetime(2027, 3, 1, 9, 0, tzinfo=dt.UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def planner(office):
    return make_user(office, "planner")


@pytest.fixture
def tanker(office):
    make_works(office)
    return make_tanker(office, crew=make_crew(office))


@pytest.fixture
def desk(client, planner):
    return signed_in(client, planner)


def signed_in(client, user):
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def job_at(office, **fields):
    premises = make_premises(office, **fields.pop("premises", {}))
    return make_job(make_system(premises=premises), **{"due_on": DAY, **fields})


def run_for(office, tanker, jobs):
    settings = PlanSettings(
        tankers=(str(tanker.public_id),),
        jobs=tuple(str(job.public_id) for job in jobs),
        iterations=5,
    )
    run = PlanRun.objects.create(
        organisation=office, first_day=DAY, days=1, settings=settings.as_json()
    )
    round_plans.run_plan(run.pk)
    return PlanRun.objects.get(pk=run.pk)


def asked(tanker, jobs, **more):
    works = tanker.organisation_id and [
        str(w.public_id) for w in round_plans.fleet_of(tanker.organisation).works
    ]
    return {
        "first_day": DAY.isoformat(),
        "days": "1",
        "look_ahead_days": "28",
        "kinds": ["emptying", "call_out"],
        "tankers": [str(tanker.public_id)],
        "works": works,
        "arrival_minutes": "60",
        "seconds": "3",
        "jobs": [str(job.public_id) for job in jobs],
        **more,
    }


def test_asking_for_a_plan_puts_it_in_the_queue(desk, office, tanker):
    answer = desk.post(reverse("scheduler:plan_new"), asked(tanker, [job_at(office)]))
    run = PlanRun.objects.get()
    assert answer.url == reverse("scheduler:plan_run", args=[run.public_id])
    assert run.settings["seconds"] == 3
    assert len(run.settings["jobs"]) == 1


def test_the_form_lists_the_jobs_of_the_days_typed(desk, office, tanker):
    near = job_at(office)
    far = job_at(office, due_on=DAY + dt.timedelta(days=60))
    page = desk.get(reverse("scheduler:plan_new")).content.decode()
    assert near.system.reference in page
    assert far.system.reference not in page
    wider = asked(tanker, [near], look_ahead_days="90", look="yes")
    page = desk.post(reverse("scheduler:plan_new"), wider).content.decode()
    assert far.system.reference in page


def test_what_was_unticked_stays_unticked(desk, office, tanker):
    jobs = [job_at(office), job_at(office)]
    shown = [str(job.public_id) for job in jobs]
    sent = asked(tanker, jobs[:1], first_day="2027-02-01", shown=shown)
    answer = desk.post(reverse("scheduler:plan_new"), sent)
    assert answer.status_code == 422
    assert dict(answer.context["jobs"]) == {jobs[0]: True, jobs[1]: False}


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"first_day": "2027-02-01"}, "That day has passed."),
        ({"days": "0"}, "greater than or equal to 1"),
        ({"tankers": []}, "This field is required."),
        ({"jobs": []}, "No job is ticked"),
        ({"jobs": ["not an id"]}, "No job is ticked"),
        ({"seconds": "86400"}, "Select a valid choice"),
    ],
)
def test_bad_input_is_said_at_the_form(desk, office, tanker, wrong, says):
    sent = {**asked(tanker, [job_at(office)]), **wrong}
    answer = desk.post(reverse("scheduler:plan_new"), sent)
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert not PlanRun.objects.exists()


def test_without_tanker_and_works_the_form_says_what_to_add(desk):
    page = desk.get(reverse("scheduler:plan_new")).content.decode()
    assert "There is no tanker in use." in page
    assert "There is no treatment works in use." in page


def test_a_plan_shows_rounds_and_what_was_left_out(desk, office, tanker):
    jobs = [job_at(office), job_at(office, litres=90_000)]
    page = desk.get(page_of(run_for(office, tanker, jobs))).content.decode()
    assert str(jobs[0].system.premises) in page
    assert "Left out: 1" in page
    assert "90,000 L are more than" in page


def page_of(run, name="plan_run", *more):
    return reverse(f"scheduler:{name}", args=[run.public_id, *more])


def test_progress_asks_for_the_page_again_once_ready(desk, office, tanker):
    run = run_for(office, tanker, [job_at(office)])
    assert desk.get(page_of(run, "plan_progress"))["HX-Refresh"] == "true"
    PlanRun.objects.filter(pk=run.pk).update(state="working", progress=0.4, changed_at=NOW)
    answer = desk.get(page_of(run, "plan_progress"))
    assert "HX-Refresh" not in answer
    assert "40 %" in answer.content.decode()


def test_a_silent_run_offers_to_start_again(desk, office, tanker):
    run = run_for(office, tanker, [job_at(office)])
    hours_ago = NOW - dt.timedelta(hours=2)
    PlanRun.objects.filter(pk=run.pk).update(state="working", changed_at=hours_ago)
    assert "Start it again" in desk.get(page_of(run)).content.decode()
    desk.post(page_of(run, "plan_again"))
    run.refresh_from_db()
    assert run.state == "waiting"


def test_accepting_from_the_page_accepts_and_books(desk, office, tanker):
    job = job_at(office)
    run = run_for(office, tanker, [job])
    answer = desk.post(page_of(run, "plan_accept"), follow=True)
    job.refresh_from_db()
    assert job.state == Job.State.AGREED
    assert "Accepted:" in answer.content.decode()


def test_a_plan_that_cannot_be_accepted_says_why(desk, office, tanker):
    run = run_for(office, tanker, [job_at(office)])
    Round.objects.filter(run=run).update(crew=None)
    answer = desk.post(page_of(run, "plan_accept"))
    assert answer.status_code == 422
    assert "choose who drives it" in answer.content.decode()


def test_a_move_is_shown_first_and_made_on_confirming(desk, office, tanker):
    jobs = [job_at(office) for _ in range(3)]
    run = run_for(office, tanker, jobs)
    order = [stop.job for stop in run.rounds.get().stops.all() if stop.job]
    target = {"tanker": tanker.public_id, "day": DAY.isoformat(), "position": "0"}
    where = page_of(run, "plan_move", order[2].public_id)
    assert "Move it" in desk.get(where, target).content.decode()
    assert [stop.job for stop in run.rounds.get().stops.all() if stop.job] == order
    desk.post(where, target)
    after = [stop.job for stop in run.rounds.get().stops.all() if stop.job]
    assert after == [order[2], order[0], order[1]]


def test_a_move_to_a_day_outside_the_plan_is_refused_at_the_field(desk, office, tanker):
    job = job_at(office)
    run = run_for(office, tanker, [job])
    target = {"tanker": tanker.public_id, "day": "2027-04-01", "position": "best"}
    answer = desk.get(page_of(run, "plan_move", job.public_id), target)
    assert answer.status_code == 422
    assert "day" in answer.context["form"].errors


def test_the_run_sheet_is_in_driving_order_and_holds_no_gate_code(desk, office, tanker):
    job = job_at(office, premises={"gate_code": "4711#", "gate_width_mm": 3000})
    row = run_for(office, tanker, [job]).rounds.get()
    page = desk.get(reverse("scheduler:run_sheet", args=[row.public_id])).content.decode()
    assert "4711#" not in page
    assert "Gate 3.00 m" in page
    assert page.index("Leave ") < page.index(str(job.system.premises)) < page.index("Back at ")


def test_withdrawing_needs_a_reason(desk, office, tanker, planner):
    run = run_for(office, tanker, [job_at(office)])
    [planned] = rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner)
    where = reverse("scheduler:round_withdraw", args=[planned.public_id])
    assert desk.post(where, {"because": ""}).status_code == 422
    assert desk.post(where, {"because": "pump broken"}).url == reverse("scheduler:rounds")
    planned.refresh_from_db()
    assert planned.accepted_at is None


def test_the_overview_asks_the_same_number_of_questions_for_more_rounds(
    desk, office, tanker, planner, django_assert_max_num_queries
):
    jobs = [job_at(office) for _ in range(6)]
    run = run_for(office, tanker, jobs)
    rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner)
    with django_assert_max_num_queries(24):
        assert desk.get(reverse("scheduler:rounds")).status_code == 200


def get_pages(run):
    row = run.rounds.get()
    job = row.stops.filter(job__isnull=False).first().job
    return [
        page_of(run),
        page_of(run, "plan_progress"),
        page_of(run, "plan_move", job.public_id),
        reverse("scheduler:round", args=[row.public_id]),
        reverse("scheduler:run_sheet", args=[row.public_id]),
    ]


def post_pages(run):
    row = run.rounds.get()
    stop = row.stops.filter(job__isnull=False).first()
    return [
        *(page_of(run, f"plan_{verb}") for verb in ("stop", "again", "anew", "accept", "discard")),
        page_of(run, "plan_move", stop.job.public_id),
        page_of(run, "plan_take_off", stop.job.public_id),
        reverse("scheduler:stop_lock", args=[stop.public_id]),
        reverse("scheduler:round_crew", args=[row.public_id]),
        reverse("scheduler:round_withdraw", args=[row.public_id]),
    ]


def test_a_stranger_finds_none_of_it(client, office, tanker):
    run = run_for(office, tanker, [job_at(office)])
    stranger = signed_in(client, make_user(make_organisation()))
    assert {stranger.get(where).status_code for where in get_pages(run)} == {404}
    assert {stranger.post(where).status_code for where in post_pages(run)} == {404}


@pytest.mark.parametrize("role", ["reader", "crew"])
def test_reader_and_crew_may_look_but_not_change(client, office, tanker, role):
    run = run_for(office, tanker, [job_at(office)])
    member = signed_in(client, make_user(office, role))
    assert {member.post(where).status_code for where in post_pages(run)} == {403}
    assert member.get(reverse("scheduler:plan_new")).status_code == 403
    assert member.get(page_of(run)).status_code == 200
    assert Stop.objects.filter(round__run=run, locked=True).count() == 0


def test_an_operator_sees_only_jobs_handed_to_it(desk, office, tanker):
    installer = make_organisation()
    handed, kept = job_at(installer, handed_to=office), job_at(installer)
    page = desk.get(reverse("scheduler:plan_new")).content.decode()
    assert handed.system.reference in page
    assert kept.system.reference not in page


def test_jobs_of_others_cannot_be_planned_by_naming_them(desk, office, tanker):
    foreign = job_at(make_organisation())
    answer = desk.post(reverse("scheduler:plan_new"), asked(tanker, [foreign]))
    assert answer.status_code == 422
    assert not PlanRun.objects.exists()


def test_overdue_work_stands_in_the_first_week(office, tanker):
    job_at(office, due_on=DAY - dt.timedelta(days=90), litres=3000)
    job_at(office, due_on=DAY + dt.timedelta(days=14), litres=2000)
    found = weeks_ahead(organisation=office, today=DAY)
    assert [week.litres for week in found[:3]] == [3000, 0, 2000]
    assert found[1].capacity_litres == 5 * 2 * tanker.capacity_litres
    assert found[0].capacity_litres == 4 * 2 * tanker.capacity_litres


def test_the_year_ahead_holds_what_an_operator_drives_for_others(office, tanker):
    installer = make_organisation(tanker_operator=office)
    system = job_at(installer, due_on=DAY).system
    Job.objects.all().delete()
    Forecast.objects.create(
        system=system,
        organisation=installer,
        state="ready",
        made_on=DAY,
        model_version="t",
        due_on=DAY + dt.timedelta(weeks=40),
        working_volume_litres=2800,
        refreshed_at=NOW,
    )
    found = weeks_ahead(organisation=office, today=DAY)
    assert len(found) == 52
    assert [(week.expected, week.litres) for week in found if week.expected] == [(1, 2800)]


def test_the_overview_says_what_became_of_a_plan(desk, office, planner, tanker):
    run = run_for(office, tanker, [job_at(office)])
    overview = reverse("scheduler:rounds")
    assert "Ready to look at" in desk.get(overview).content.decode()
    rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner, now=NOW)
    page = desk.get(overview).content.decode()
    assert "Ready to look at" not in page
    assert 'data-label="Where it is">Accepted<' in page


def test_the_page_of_a_job_says_what_waiting_would_cost(desk, office, tanker):
    job = job_at(office, due_on=DAY - dt.timedelta(days=40))
    page = desk.get(reverse("scheduler:job", args=[job.public_id])).content.decode()
    assert "Why this one now" in page
    # 67 days overdue by 29 March, four weeks after the day, at 5.00 a day.
    assert "£335.00: so that the longest overdue goes first" in page
    assert "An emptying £150.00." in page.replace("an emptying", "An emptying")
    office.emptying_cost_pence, office.trouble_cost_pence = 200_00, 800_00
    office.save()
    page = desk.get(reverse("scheduler:job", args=[job.public_id])).content.decode()
    assert "By the prices of" in page
