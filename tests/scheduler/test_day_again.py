"""The rest of a day planned anew from where the tankers are. Rules of the job, no source."""

import datetime as dt

import pytest
import time_machine
from django.core.exceptions import PermissionDenied

from customers.models import Party
from scheduler import booking, day_again, round_plans, rounds
from scheduler.models import Job, Message, PlanRun, Round, Stop
from scheduler.rounds import RoundsNotReady
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_person,
    make_premises,
    make_system,
    make_tanker,
    make_user,
    make_works,
)
from tests.scheduler.planning import accepted_day

DAY = dt.date(2027, 3, 2)
EARLY = dt.datetime(2027, 3, 2, 6, 0, tzinfo=dt.UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def planner(office):
    return make_user(office, "planner")


@pytest.fixture
def tankers(office):
    make_works(office)
    first = make_tanker(office, name="One", crew=make_crew(office))
    return [first, make_tanker(office, name="Two", crew=make_crew(office), base=first.base)]


def owned_job(office, **fields):
    premises = make_premises(office)
    Party.objects.create(premises=premises, person=make_person(office), role=Party.Role.OWNER)
    return make_job(make_system(premises=premises), **{"due_on": DAY, **fields})


def planned_rest(office, planner, now, **happened):
    chosen = {"off_the_road": [], "shut_works": [], "given_up": [], "urgent": [], **happened}
    run = day_again.plan_rest(
        organisation=office, because="A pump failed", by=planner, now=now, seconds=1, **chosen
    )
    assert round_plans.run_plan(run.pk)
    run.refresh_from_db()
    assert run.state == "ready", run.error
    return run


def on_rounds(day=DAY):
    stops = Stop.objects.filter(round__day=day, round__accepted_at__isnull=False, job__isnull=False)
    return {stop.job_id: stop.round.tanker.name for stop in stops.select_related("round__tanker")}


def test_a_tanker_that_breaks_down_hands_its_jobs_to_the_other(office, planner, tankers):
    jobs = [owned_job(office) for _ in range(4)]
    accepted_day(office, planner, tankers[:1], jobs)
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    assert set(on_rounds().values()) == {"One"}
    day_again.accept_rest(run=run, by=planner, now=EARLY)
    assert on_rounds() == {job.pk: "Two" for job in jobs}
    assert not Round.objects.filter(tanker=tankers[0], accepted_at__isnull=False).exists()


def test_every_promise_holds_its_stop_afterwards(office, planner, tankers):
    jobs = [owned_job(office) for _ in range(4)]
    accepted_day(office, planner, tankers[:1], jobs)
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    day_again.accept_rest(run=run, by=planner, now=EARLY)
    for stop in Stop.objects.filter(round__accepted_at__isnull=False, job__isnull=False):
        promise = booking.standing_appointment(stop.job)
        assert promise.starts_at <= stop.start_at <= promise.ends_at


def test_what_a_crew_has_reached_stays_and_only_the_rest_moves(office, planner, tankers):
    jobs = [owned_job(office) for _ in range(4)]
    [row] = accepted_day(office, planner, tankers[:1], jobs)
    first, *others = list(row.stops.filter(job__isnull=False))
    Stop.objects.filter(pk=first.pk).update(arrived_at=first.arrive_at, left_at=first.depart_at)
    Job.objects.filter(pk=first.job_id).update(state="done")
    now = first.depart_at + dt.timedelta(minutes=1)
    run = planned_rest(office, planner, now, off_the_road=tankers[:1])
    day_again.accept_rest(run=run, by=planner, now=now)
    assert on_rounds() == {first.job_id: "One", **{stop.job_id: "Two" for stop in others}}


def test_a_tanker_that_breaks_down_on_its_way_does_not_reach_the_next_job(office, planner, tankers):
    """Nothing recorded: the first job is behind it by the plan, its load on board."""
    jobs = [owned_job(office) for _ in range(3)]
    [row] = accepted_day(office, planner, tankers[:1], jobs)
    first, *others = list(row.stops.filter(job__isnull=False))
    now = first.depart_at + dt.timedelta(minutes=1)
    run = planned_rest(office, planner, now, off_the_road=tankers[:1])
    assert "One stands with about 2800 L on board" in " ".join(run.warnings)
    day_again.accept_rest(run=run, by=planner, now=now)
    assert on_rounds() == {first.job_id: "One", **{stop.job_id: "Two" for stop in others}}
    assert Stop.objects.filter(round__accepted_at__isnull=False, job__isnull=False).count() == 3


def test_a_crew_running_late_loses_no_job(office, planner, tankers):
    """At two in the afternoon only the first job is recorded: the others are still to be done."""
    jobs = [owned_job(office, minutes=20) for _ in range(3)]
    [row] = accepted_day(office, planner, tankers[:1], jobs)
    first = row.stops.filter(job__isnull=False).first()
    Stop.objects.filter(pk=first.pk).update(arrived_at=first.arrive_at, left_at=first.depart_at)
    Job.objects.filter(pk=first.job_id).update(state="done")
    now = dt.datetime(2027, 3, 2, 12, 0, tzinfo=dt.UTC)
    urgent = owned_job(office, kind="call_out", urgent=True, litres=0, minutes=20)
    run = planned_rest(office, planner, now, urgent=[urgent])
    placed = set(Stop.objects.filter(round__run=run).values_list("job", flat=True)) - {None}
    left = {line["job"] for line in run.left_out}
    expected = {job for job in [*jobs, urgent] if job.pk != first.job_id}
    assert placed | {job.pk for job in expected if str(job.public_id) in left} == {
        job.pk for job in expected
    }
    starts = Stop.objects.filter(round__run=run, job__isnull=False).values_list(
        "start_at", flat=True
    )
    assert min(starts) >= now


def test_an_urgent_call_is_fitted_in_and_its_owner_told(office, planner, tankers):
    accepted_day(office, planner, tankers[:1], [owned_job(office) for _ in range(2)])
    urgent = owned_job(office, kind="call_out", urgent=True, litres=2000)
    run = planned_rest(office, planner, EARLY, urgent=[urgent])
    assert [(line["job"], line["kind"]) for line in run.changes if line["kind"] == "added"] == [
        (str(urgent.public_id), "added")
    ]
    day_again.accept_rest(run=run, by=planner, now=EARLY)
    urgent.refresh_from_db()
    assert urgent.state == Job.State.AGREED
    assert Message.objects.filter(job=urgent).exists()


def test_a_job_that_falls_through_is_cancelled_and_wanted_again(office, planner, tankers):
    jobs = [owned_job(office) for _ in range(3)]
    accepted_day(office, planner, tankers[:1], jobs)
    Message.objects.update(state="sent", sent_at=EARLY)
    run = planned_rest(office, planner, EARLY, given_up=jobs[:1])
    day_again.accept_rest(run=run, by=planner, now=EARLY)
    jobs[0].refresh_from_db()
    assert jobs[0].state == Job.State.WANTED
    assert jobs[0].pk not in on_rounds()
    assert Message.objects.filter(job=jobs[0], template="cancellation").exists()


def test_what_nobody_can_do_today_is_cancelled_with_the_reason(office, planner, tankers):
    job = owned_job(office)
    accepted_day(office, planner, tankers[:1], [job])
    tankers[1].in_use = False
    tankers[1].save()
    other = make_tanker(office, name="Tiny", capacity_litres=500, crew=make_crew(office))
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    assert [(line["kind"], line["promise_broken"]) for line in run.changes] == [("left out", True)]
    day_again.accept_rest(run=run, by=planner, now=EARLY)
    job.refresh_from_db()
    assert job.state == Job.State.WANTED
    assert not Round.objects.filter(tanker=other, accepted_at__isnull=False).exists()


def test_settling_twice_changes_nothing_the_second_time(office, planner, tankers):
    accepted_day(office, planner, tankers[:1], [owned_job(office) for _ in range(2)])
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    day_again.accept_rest(run=run, by=planner, now=EARLY)
    written = Message.objects.count()
    assert day_again.accept_rest(run=run, by=planner, now=EARLY) == []
    assert Message.objects.count() == written


def test_a_crew_that_moved_on_meanwhile_is_not_overruled(office, planner, tankers):
    [row] = accepted_day(office, planner, tankers[:1], [owned_job(office) for _ in range(2)])
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    first = row.stops.filter(job__isnull=False).first()
    Stop.objects.filter(pk=first.pk).update(arrived_at=first.arrive_at)
    with pytest.raises(RoundsNotReady, match="moved on"):
        day_again.accept_rest(run=run, by=planner, now=EARLY)


def test_a_works_that_shuts_takes_no_load(office, planner, tankers):
    other = make_works(office, latitude=52.3, longitude=-3.3)  # farther than any place made
    accepted_day(office, planner, tankers[:1], [owned_job(office) for _ in range(2)])
    used = set(Stop.objects.filter(kind="tip").values_list("works", flat=True))
    assert other.pk not in used
    shut = [stop.works for stop in Stop.objects.filter(kind="tip")]
    run = planned_rest(office, planner, EARLY, shut_works=shut)
    assert {stop.works for stop in Stop.objects.filter(round__run=run, kind="tip")} == {other}


def test_the_page_says_what_changes_before_anything_does(client, office, planner, tankers):
    jobs = [owned_job(office) for _ in range(2)]
    accepted_day(office, planner, tankers[:1], jobs)
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    client.force_login(planner)
    page = client.get(f"/rounds/plans/{run.public_id}/").content.decode()
    assert "What changes" in page
    assert str(jobs[0].system.premises) in page
    assert set(on_rounds().values()) == {"One"}


def test_the_rest_of_a_day_is_not_accepted_as_whole_rounds(office, planner, tankers):
    accepted_day(office, planner, tankers[:1], [owned_job(office)])
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    with pytest.raises(RoundsNotReady, match="its own page"):
        rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner, now=EARLY)


def test_a_load_in_a_tanker_that_broke_down_is_named(office, planner, tankers):
    [row] = accepted_day(office, planner, tankers[:1], [owned_job(office) for _ in range(3)])
    first = row.stops.filter(job__isnull=False).first()
    Stop.objects.filter(pk=first.pk).update(arrived_at=first.arrive_at, left_at=first.depart_at)
    run = planned_rest(office, planner, first.depart_at, off_the_road=tankers[:1])
    assert any("One stands with about 2800 L" in warning for warning in run.warnings)


@pytest.mark.parametrize("role", ["crew", "reader"])
def test_crew_and_reader_may_not_settle_the_day(office, planner, tankers, role):
    accepted_day(office, planner, tankers[:1], [owned_job(office)])
    run = planned_rest(office, planner, EARLY, off_the_road=tankers[:1])
    with pytest.raises(PermissionDenied):
        day_again.accept_rest(run=run, by=make_user(office, role), now=EARLY)


def test_a_form_without_anything_ticked_says_so(client, office, planner, tankers):
    with time_machine.travel(EARLY, tick=False):
        accepted_day(office, planner, tankers[:1], [owned_job(office)])
        client.force_login(planner)
        answer = client.post("/rounds/today/again/", {"because": "Nothing"})
    assert answer.status_code == 422
    assert b"Tick what happened" in answer.content


def test_the_form_asks_for_a_plan_of_the_rest(client, office, planner, tankers):
    with time_machine.travel(EARLY, tick=False):
        accepted_day(office, planner, tankers[:1], [owned_job(office)])
        client.force_login(planner)
        said = {"because": "Pump", "off_the_road": [str(tankers[0].public_id)]}
        answer = client.post("/rounds/today/again/", said)
    run = PlanRun.objects.latest("pk")
    assert answer["Location"].endswith(f"/rounds/plans/{run.public_id}/")
    assert run.settings["happening"]["off_the_road"] == [str(tankers[0].public_id)]
