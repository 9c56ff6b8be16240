"""The bridge between rows and the planner. Rules of the job, not numbers from a source."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import PermissionDenied
from hypothesis import given
from hypothesis import strategies as st

from scheduler import round_plans
from scheduler.models import (
    Appointment,
    Job,
    PlanRun,
    Round,
    Stop,
    TankerDayOff,
    WorksClosure,
)
from scheduler.round_plans import LocalClock, PlanSettings, arrival_span
from scheduler.round_plans.asking import SILENCE
from scheduler.round_plans.problem import problem_of
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
LONDON = LocalClock(ZoneInfo("Europe/London"))
pytestmark = pytest.mark.django_db


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


def settings_for(tankers, jobs, **more):
    return PlanSettings(
        tankers=tuple(str(one.public_id) for one in tankers),
        jobs=tuple(str(one.public_id) for one in jobs),
        **{"iterations": 5, **more},
    )


def problem(office, tankers, jobs, days=1, **more):
    settings = settings_for(tankers, jobs, **more)
    return problem_of(organisation=office, first_day=DAY, days=days, settings=settings)


def planned(office, planner, tankers, jobs, days=1, **more):
    run = round_plans.start_plan(
        organisation=office,
        first_day=DAY,
        days=days,
        by=planner,
        settings=settings_for(tankers, jobs, **more),
    )
    assert round_plans.run_plan(run.pk)
    run.refresh_from_db()
    return run


def job_at(office, **fields):
    premises = fields.pop("premises", {})
    system = make_system(premises=make_premises(office, **premises))
    return make_job(system, **{"due_on": DAY, **fields})


@given(st.dates(dt.date(2024, 1, 1), dt.date(2030, 12, 31)), st.integers(3 * 3600, 86_399))
def test_wall_clock_times_come_back_on_every_day_of_the_year(day, seconds):
    assert LONDON.seconds(LONDON.moment(day, seconds), day) == seconds


def test_seven_in_the_morning_is_another_moment_in_summer():
    assert LONDON.moment(dt.date(2027, 3, 27), 7 * 3600).hour == 7
    assert LONDON.moment(dt.date(2027, 3, 28), 7 * 3600).hour == 6


@given(st.integers(0, 86_000), st.integers(0, 240))
def test_hours_told_hold_the_planned_start(start, minutes):
    starts, ends = arrival_span(start, within=(0, 86_400), either_side_minutes=minutes)
    assert starts <= start < ends
    assert starts % 900 == ends % 900 == 0


def test_hours_told_stay_inside_the_shift():
    span = arrival_span(7 * 3600 + 600, within=(7 * 3600, 16 * 3600), either_side_minutes=60)
    assert span == (7 * 3600, 8 * 3600 + 900)


def test_a_promise_becomes_a_window_on_the_wall_clock(office, tanker):
    job = job_at(office)
    summer = dt.date(2027, 3, 30)
    Appointment.objects.create(
        job=job,
        starts_at=dt.datetime(2027, 3, 30, 8, 0, tzinfo=dt.UTC),
        ends_at=dt.datetime(2027, 3, 30, 10, 0, tzinfo=dt.UTC),
        agreed_at=dt.datetime(2027, 3, 1, tzinfo=dt.UTC),
    )
    settings = settings_for([tanker], [job])
    found = problem_of(organisation=office, first_day=summer, days=1, settings=settings).jobs[0]
    assert [window.start.hour for window in found.windows] == [9]
    assert found.required


def test_access_limits_reach_the_planner_in_metres_and_tonnes(office, tanker):
    job = job_at(
        office, premises={"gate_width_mm": 2300, "weight_limit_kg": 7500, "hose_run_m": 35.0}
    )
    found = problem(office, [tanker], [job]).jobs[0]
    assert (found.max_width_m, found.max_tonnes, found.hose_needed_m) == (2.3, 7.5, 35.0)


def test_litres_are_the_high_quantile_when_asked(office, tanker):
    job = job_at(office, litres=2800, litres_high=3600)
    assert problem(office, [tanker], [job]).jobs[0].litres == 2800
    assert problem(office, [tanker], [job], litres_quantile=0.9).jobs[0].litres == 3600


def test_days_off_and_closures_reach_the_planner(office, tanker):
    TankerDayOff.objects.create(tanker=tanker, day=DAY)
    works = make_works(office)
    WorksClosure.objects.create(works=works, day=DAY)
    found = problem(office, [tanker], [])
    assert found.tankers[0].off == {DAY}
    assert {DAY} in [each.closed_on for each in found.works]


def test_a_last_day_gone_by_does_not_forbid_the_job(office, tanker):
    job = job_at(office, due_on=DAY - dt.timedelta(days=20), latest=DAY - dt.timedelta(days=3))
    assert problem(office, [tanker], [job]).jobs[0].latest is None


def test_candidates_are_what_this_organisation_drives(office, tanker):
    installer = make_organisation()
    own, handed = job_at(office), job_at(installer, handed_to=office)
    away = job_at(office, handed_to=installer)
    job_at(installer)
    found = candidates(office, [tanker])
    assert set(found) == {own, handed}
    assert away not in found


def candidates(office, tankers, **more):
    return round_plans.candidates(
        organisation=office,
        clock=LocalClock.of(office),
        first_day=DAY,
        last_day=DAY,
        tankers=tankers,
        **more,
    )


def test_candidates_leave_what_is_booked_on_another_day(office, tanker):
    job = job_at(office)
    Appointment.objects.create(
        job=job,
        starts_at=LONDON.moment(DAY + dt.timedelta(days=3), 9 * 3600),
        ends_at=LONDON.moment(DAY + dt.timedelta(days=3), 11 * 3600),
    )
    assert not candidates(office, [tanker])


def test_candidates_leave_what_another_tanker_has_accepted(office, tanker):
    job = job_at(office)
    other = make_tanker(office)
    accept_by_hand(office, other, job)
    assert not candidates(office, [tanker])
    assert list(candidates(office, [other])) == [job]


def accept_by_hand(office, tanker, job):
    at = LONDON.moment(DAY, 9 * 3600)
    row = Round.objects.create(organisation=office, tanker=tanker, day=DAY, accepted_at=at)
    Stop.objects.create(
        round=row, position=1, kind="job", job=job, arrive_at=at, start_at=at, depart_at=at
    )
    return row


def test_candidates_look_ahead_only_so_far(office, tanker):
    job = job_at(office, due_on=DAY + dt.timedelta(days=20))
    assert list(candidates(office, [tanker], look_ahead_days=20)) == [job]
    assert not candidates(office, [tanker], look_ahead_days=19)


def test_a_run_becomes_rounds_with_timed_stops(office, planner, tanker):
    jobs = [job_at(office) for _ in range(4)]
    run = planned(office, planner, [tanker], jobs)
    assert run.state == PlanRun.State.READY
    row = run.rounds.get()
    stops = list(row.stops.all())
    assert {stop.job for stop in stops if stop.job} == set(jobs)
    assert row.accepted_at is None
    assert row.breaches == []
    assert [stops[0].kind, stops[-2].kind, stops[-1].kind] == ["base", "tip", "base"]
    assert run.figures["jobs"] == 4


def test_every_job_is_on_a_round_or_left_out_with_a_reason(office, planner, tanker):
    jobs = [
        job_at(office),
        job_at(office, litres=30_000),
        job_at(office, premises={"latitude": None, "longitude": None}),
        job_at(office, premises={"gate_width_mm": 1800}),
    ]
    run = planned(office, planner, [tanker], jobs, split_large=False)
    on_rounds = Stop.objects.filter(round__run=run, job__isnull=False).count()
    reasons = {line["job"]: line["why"] for line in run.left_out}
    assert on_rounds + len(reasons) == 4
    assert "more than the 9,000 L it holds" in reasons[str(jobs[1].public_id)]
    assert "position" in reasons[str(jobs[2].public_id)]
    assert tanker.name in reasons[str(jobs[3].public_id)]


def test_sentences_name_things_and_not_their_ids(office, planner, tanker):
    jobs = [job_at(office, litres=30_000), job_at(office, premises={"weight_limit_kg": 3500})]
    run = planned(office, planner, [tanker], jobs, split_large=False)
    text = " ".join(line["why"] for line in run.left_out)
    assert str(tanker.public_id) not in text
    assert tanker.name in text


def test_no_tanker_is_a_plain_sentence_on_the_run(office, planner):
    run = planned(office, planner, [make_tanker(office, in_use=False)], [job_at(office)])
    assert run.state == PlanRun.State.FAILED
    assert "no tanker" in run.error


def test_no_works_is_a_plain_sentence_on_the_run(office, planner):
    run = planned(office, planner, [make_tanker(office)], [job_at(office)])
    assert run.state == PlanRun.State.FAILED
    assert "no treatment works" in run.error


def test_a_promise_outside_the_shift_is_left_out_and_not_dropped(office, planner, tanker):
    job = job_at(office)
    Appointment.objects.create(
        job=job,
        starts_at=LONDON.moment(DAY, 20 * 3600),
        ends_at=LONDON.moment(DAY, 21 * 3600),
        agreed_at=LONDON.moment(DAY - dt.timedelta(days=9), 0),
    )
    run = planned(office, planner, [tanker], [job])
    assert [line["job"] for line in run.left_out] == [str(job.public_id)]
    assert not run.rounds.exists()


def test_a_job_withdrawn_meanwhile_is_listed(office, planner, tanker):
    job = job_at(office, state=Job.State.WITHDRAWN)
    run = planned(office, planner, [tanker], [job])
    assert run.left_out[0]["rule"] == "gone"


def test_planning_again_keeps_promises_and_locks(office, planner, tanker):
    other = make_tanker(office, base=tanker.base)
    jobs = [job_at(office) for _ in range(4)]
    first = planned(office, planner, [tanker, other], jobs)
    stop = Stop.objects.filter(round__run=first, job__isnull=False).first()
    Stop.objects.filter(pk=stop.pk).update(locked=True)
    again = planned(office, planner, [tanker, other], jobs, after=str(first.public_id))
    assert Stop.objects.get(round__run=again, job=stop.job).round.tanker == stop.round.tanker


def test_a_run_is_worked_once(office, planner, tanker):
    run = planned(office, planner, [tanker], [job_at(office)])
    assert not round_plans.run_plan(run.pk)
    assert run.rounds.count() == 1


def test_a_run_whose_worker_died_is_seen_and_can_be_started_again(office, planner, tanker):
    run = planned(office, planner, [tanker], [job_at(office)])
    now = dt.datetime.now(dt.UTC)
    PlanRun.objects.filter(pk=run.pk).update(state="working", changed_at=now)
    run.refresh_from_db()
    assert not round_plans.is_silent(run, now)
    assert not round_plans.start_again(run=run, by=planner, now=now)
    later = now + SILENCE + dt.timedelta(seconds=1)
    assert round_plans.is_silent(run, later)
    assert round_plans.start_again(run=run, by=planner, now=later)
    assert round_plans.run_plan(run.pk)
    assert run.rounds.count() == 1


def test_a_run_that_no_worker_has_begun_is_found(office, planner, tanker):
    run = round_plans.start_plan(
        organisation=office, first_day=DAY, days=1, by=planner, settings=settings_for([tanker], [])
    )
    asked_at = run.changed_at
    assert round_plans.waiting_runs(asked_at + dt.timedelta(seconds=20)) == []
    assert round_plans.waiting_runs(asked_at + dt.timedelta(seconds=40)) == [run.pk]
    round_plans.run_plan(run.pk)
    assert round_plans.waiting_runs(asked_at + dt.timedelta(hours=1)) == []


def test_stopping_keeps_the_best_found(office, planner, tanker):
    run = round_plans.start_plan(
        organisation=office,
        first_day=DAY,
        days=1,
        by=planner,
        settings=settings_for([tanker], [job_at(office)]),
    )
    round_plans.ask_to_stop(run=run, by=planner)
    round_plans.run_plan(run.pk)
    run.refresh_from_db()
    assert run.state == PlanRun.State.STOPPED
    assert run.rounds.count() == 1


@pytest.mark.parametrize("role", ["crew", "reader"])
def test_only_office_and_planner_may_plan(office, tanker, role):
    with pytest.raises(PermissionDenied):
        round_plans.start_plan(
            organisation=office,
            first_day=DAY,
            days=1,
            by=make_user(office, role),
            settings=settings_for([tanker], []),
        )


def test_planning_again_with_a_tanker_grown_too_wide_still_answers(office, planner, tanker):
    jobs = [job_at(office, premises={"gate_width_mm": 2600}), job_at(office)]
    first = planned(office, planner, [tanker], jobs)
    tanker.width_m = 2.9
    tanker.save()
    again = planned(office, planner, [tanker], jobs, after=str(first.public_id))
    assert [line["job"] for line in again.left_out] == [str(jobs[0].public_id)]
    assert again.rounds.get().stops.filter(job=jobs[1]).exists()


def test_nobody_drives_at_the_weekend_unless_asked(office, tanker):
    """26 and 29 March 2027 are Good Friday and Easter Monday: public holidays in England."""
    settings = settings_for([tanker], [])
    thursday = dt.date(2027, 3, 25)
    days = {"organisation": office, "first_day": thursday, "days": 6}
    off = problem_of(settings=settings, **days).tankers[0].off
    assert off == {thursday + dt.timedelta(days=number) for number in (1, 2, 3, 4)}
    every_day = settings_for([tanker], [], every_day=True)
    assert problem_of(settings=every_day, **days).tankers[0].off == frozenset()


def test_a_single_day_is_planned_as_asked(office, tanker):
    sunday = dt.date(2027, 3, 28)
    found = problem_of(
        organisation=office, first_day=sunday, days=1, settings=settings_for([tanker], [])
    )
    assert found.tankers[0].off == frozenset()


def test_several_days_are_planned_in_one_run(office, planner, tanker):
    jobs = [job_at(office, due_on=DAY + dt.timedelta(days=2), minutes=170) for _ in range(6)]
    run = planned(office, planner, [tanker], jobs, days=3)
    placed = Stop.objects.filter(round__run=run, job__isnull=False).count()
    assert placed + len(run.left_out) == 6
    assert placed == 6
    assert run.rounds.count() > 1
