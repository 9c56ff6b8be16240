"""Rounds accepted, withdrawn and kept in step with their visits. Rules of the job."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied

from customers.models import Party
from scheduler import booking, round_plans, round_upkeep, rounds
from scheduler.models import Appointment, CalendarEvent, Job, Message, PlanRun, Round, Stop
from scheduler.round_plans import LocalClock, PlanSettings
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

DAY = dt.date(2027, 3, 2)
NOW = dt.datetime(2027, 3, 1, 9, 0, tzinfo=dt.UTC)
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


def job_with_owner(office, **fields):
    premises = make_premises(office, **fields.pop("premises", {}))
    Party.objects.create(premises=premises, person=make_person(office), role=Party.Role.OWNER)
    return make_job(make_system(premises=premises), **{"due_on": DAY, **fields})


def run_for(office, planner, tankers, jobs, **more):
    settings = PlanSettings(
        tankers=tuple(str(one.public_id) for one in tankers),
        jobs=tuple(str(one.public_id) for one in jobs),
        iterations=5,
        **more,
    )
    run = round_plans.start_plan(
        organisation=office, first_day=DAY, days=1, by=planner, settings=settings
    )
    round_plans.run_plan(run.pk)
    return PlanRun.objects.get(pk=run.pk)


def accept(run, by, now=NOW):
    return rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=by, now=now)


def local(office, moment):
    return LocalClock.of(office).local(moment)


def test_accepting_books_every_job_around_its_stop(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(3)]
    [planned] = accept(run_for(office, planner, [tanker], jobs), planner)
    for stop in planned.stops.filter(job__isnull=False):
        promise = booking.standing_appointment(stop.job)
        assert stop.job.state == Job.State.AGREED
        assert promise.starts_at <= stop.start_at <= promise.ends_at
        assert local(office, promise.starts_at).minute % 15 == 0
        assert local(office, promise.starts_at).time() >= tanker.shift_starts


def test_accepting_tells_every_owner_and_the_crew_once(office, planner, tanker):
    run = run_for(office, planner, [tanker], [job_with_owner(office) for _ in range(3)])
    accept(run, planner)
    told = set(Message.objects.values_list("to_address", flat=True))
    assert len(told) == Message.objects.count() == 4
    assert tanker.crew.email in told


def test_accepting_twice_does_nothing_twice(office, planner, tanker):
    run = run_for(office, planner, [tanker], [job_with_owner(office)])
    accept(run, planner)
    before = Message.objects.count(), Appointment.history.count(), Round.history.count()
    assert accept(run, planner) == []
    assert before == (Message.objects.count(), Appointment.history.count(), Round.history.count())


def test_an_appointment_the_stop_keeps_is_left_alone(office, planner, tanker):
    job = job_with_owner(office)
    clock = LocalClock.of(office)
    promise = booking.book(
        job=job,
        starts_at=clock.moment(DAY, 9 * 3600),
        ends_at=clock.moment(DAY, 12 * 3600),
        by=planner,
        now=NOW,
    )
    accept(run_for(office, planner, [tanker], [job]), planner)
    promise.refresh_from_db()
    assert local(office, promise.starts_at).hour == 9
    assert local(office, promise.ends_at).hour == 12


def test_a_round_that_breaks_a_rule_is_not_accepted_and_says_which(office, planner, tanker):
    run = run_for(office, planner, [tanker], [job_with_owner(office)])
    tanker.width_m = 2.5
    job = Stop.objects.get(round__run=run, job__isnull=False).job
    job.system.premises.gate_width_mm = 2200
    job.system.premises.save()
    with pytest.raises(rounds.RoundsNotReady, match="too wide"):
        accept(run, planner)
    assert not Appointment.objects.exists()


def test_a_job_withdrawn_since_stops_acceptance(office, planner, tanker):
    jobs = [job_with_owner(office), job_with_owner(office)]
    run = run_for(office, planner, [tanker], jobs)
    booking.withdraw(job=jobs[0], because="sold", by=planner, now=NOW)
    with pytest.raises(rounds.RoundsNotReady, match=jobs[0].system.reference):
        accept(run, planner)
    rounds.take_off(run=run, job=jobs[0], by=planner)
    assert [stop.job for stop in accept(run, planner)[0].stops.all() if stop.job] == [jobs[1]]


def test_a_round_without_a_crew_is_not_accepted(office, planner):
    make_works(office)
    run = run_for(office, planner, [make_tanker(office)], [job_with_owner(office)])
    with pytest.raises(rounds.RoundsNotReady, match="who drives"):
        accept(run, planner)


def test_a_day_that_is_over_is_not_accepted(office, planner, tanker):
    run = run_for(office, planner, [tanker], [job_with_owner(office)])
    with pytest.raises(rounds.RoundsNotReady, match="is over"):
        accept(run, planner, now=NOW + dt.timedelta(days=3))


def test_a_job_on_another_accepted_round_is_not_accepted_again(office, planner, tanker):
    job = job_with_owner(office)
    other = make_tanker(office, crew=tanker.crew)
    first = run_for(office, planner, [tanker], [job])
    second = run_for(office, planner, [other], [job])
    accept(first, planner)
    with pytest.raises(rounds.RoundsNotReady, match="already"):
        accept(second, planner)


def test_planning_an_accepted_day_again_changes_the_round_and_not_its_identity(
    office, planner, tanker
):
    jobs = [job_with_owner(office) for _ in range(2)]
    [before] = accept(run_for(office, planner, [tanker], jobs), planner)
    promises = set(Appointment.objects.values_list("pk", "starts_at", "ends_at"))
    again = run_for(office, planner, [tanker], [*jobs, job_with_owner(office)])
    [after] = accept(again, planner, now=NOW + dt.timedelta(hours=1))
    assert after.pk == before.pk
    assert promises < set(Appointment.objects.values_list("pk", "starts_at", "ends_at"))
    assert CalendarEvent.objects.get(round=after).sequence == 1


def test_a_promise_may_not_be_dropped_by_planning_again(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(2)]
    accept(run_for(office, planner, [tanker], jobs), planner)
    again = run_for(office, planner, [tanker], [jobs[0]])
    with pytest.raises(rounds.RoundsNotReady, match="is promised"):
        accept(again, planner)


def test_withdrawing_frees_the_jobs_and_tells_everyone_once(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(2)]
    [planned] = accept(run_for(office, planner, [tanker], jobs), planner)
    Message.objects.update(state="sent", sent_at=NOW, attempts=1)
    assert rounds.withdraw_round(planned=planned, because="pump broken", by=planner, now=NOW)
    assert set(Job.objects.values_list("state", flat=True)) == {Job.State.WANTED}
    cancelled = Message.objects.filter(state="waiting")
    assert cancelled.count() == 3
    assert not rounds.withdraw_round(planned=planned, because="again", by=planner, now=NOW)
    assert cancelled.count() == 3


def test_a_round_that_has_begun_cannot_be_withdrawn(office, planner, tanker):
    [planned] = accept(run_for(office, planner, [tanker], [job_with_owner(office)]), planner)
    planned.stops.filter(job__isnull=False).update(arrived_at=NOW)
    with pytest.raises(booking.NotPossible, match="has begun"):
        rounds.withdraw_round(planned=planned, because="rain", by=planner, now=NOW)


def test_a_move_is_looked_at_before_it_is_made(office, planner, tanker):
    job = job_with_owner(office)
    small = make_tanker(office, base=tanker.base, capacity_litres=1000)
    run = run_for(office, planner, [tanker, small], [job])
    look = round_plans.look_at_move(
        round_plans.board_of(run), job=job, tanker=small, day=DAY, position=None
    )
    assert not look.possible
    assert small.name in " ".join(look.breaches)
    assert run.rounds.get().tanker == tanker


def test_a_move_with_a_breach_is_kept_but_cannot_be_accepted(office, planner, tanker):
    job = job_with_owner(office)
    small = make_tanker(office, base=tanker.base, capacity_litres=1000, crew=tanker.crew)
    run = run_for(office, planner, [tanker, small], [job])
    rounds.move_stop(run=run, job=job, tanker=small, day=DAY, position=0, by=planner)
    row = run.rounds.get()
    assert row.tanker == small
    assert row.breaches
    with pytest.raises(rounds.RoundsNotReady):
        accept(run, planner)


def test_position_is_a_place_among_the_jobs(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(3)]
    run = run_for(office, planner, [tanker], jobs)
    order = list(run.rounds.get().stops.filter(job__isnull=False).values_list("job", flat=True))
    last = Job.objects.get(pk=order[-1])
    rounds.move_stop(run=run, job=last, tanker=tanker, day=DAY, position=0, by=planner)
    after = list(run.rounds.get().stops.filter(job__isnull=False).values_list("job", flat=True))
    assert after == [order[-1], *order[:-1]]


def test_a_job_taken_off_is_left_out_and_can_be_put_on_again(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(2)]
    run = run_for(office, planner, [tanker], jobs)
    rounds.take_off(run=run, job=jobs[0], by=planner)
    run.refresh_from_db()
    assert [line["job"] for line in run.left_out] == [str(jobs[0].public_id)]
    assert run.figures["jobs"] == 1
    rounds.move_stop(run=run, job=jobs[0], tanker=tanker, day=DAY, position=None, by=planner)
    run.refresh_from_db()
    assert (run.left_out, run.figures["jobs"]) == ([], 2)


def test_locks_survive_a_move_of_another_job(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(3)]
    run = run_for(office, planner, [tanker], jobs)
    stop = Stop.objects.get(round__run=run, job=jobs[0])
    rounds.lock_stop(stop=stop, locked=True, by=planner)
    rounds.move_stop(run=run, job=jobs[1], tanker=tanker, day=DAY, position=0, by=planner)
    assert Stop.objects.get(round__run=run, job=jobs[0]).locked


@pytest.mark.parametrize("role", ["crew", "reader"])
def test_crew_and_reader_may_not_accept(office, planner, tanker, role):
    run = run_for(office, planner, [tanker], [job_with_owner(office)])
    with pytest.raises(PermissionDenied):
        accept(run, make_user(office, role))


def test_an_operator_accepts_what_an_installer_handed_to_it(planner, office, tanker):
    installer = make_organisation()
    job = job_with_owner(installer, handed_to=office)
    accept(run_for(office, planner, [tanker], [job]), planner)
    job.refresh_from_db()
    assert job.state == Job.State.AGREED


def test_a_cancelled_visit_leaves_its_accepted_round(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(2)]
    [planned] = accept(run_for(office, planner, [tanker], jobs), planner)
    booking.cancel(job=jobs[0], because="on holiday", by=planner, now=NOW)
    assert round_upkeep.tidy_rounds(now=NOW) == 1
    assert [stop.job for stop in planned.stops.all() if stop.job] == [jobs[1]]
    assert CalendarEvent.objects.get(round=planned).cancelled_at is None
    assert round_upkeep.tidy_rounds(now=NOW) == 0


def test_a_round_with_no_visit_left_is_called_off(office, planner, tanker):
    job = job_with_owner(office)
    [planned] = accept(run_for(office, planner, [tanker], [job]), planner)
    booking.withdraw(job=job, because="sold", by=planner, now=NOW)
    round_upkeep.tidy_rounds(now=NOW)
    planned.refresh_from_db()
    assert planned.accepted_at is None
    assert CalendarEvent.objects.get(round=planned).cancelled_at is not None


def test_a_visit_moved_to_another_day_leaves_its_round(office, planner, tanker):
    jobs = [job_with_owner(office) for _ in range(2)]
    [planned] = accept(run_for(office, planner, [tanker], jobs), planner)
    clock = LocalClock.of(office)
    later = DAY + dt.timedelta(days=4)
    booking.move(
        job=jobs[0],
        starts_at=clock.moment(later, 9 * 3600),
        ends_at=clock.moment(later, 11 * 3600),
        by=planner,
        now=NOW,
    )
    round_upkeep.tidy_rounds(now=NOW)
    assert [stop.job for stop in planned.stops.all() if stop.job] == [jobs[1]]


def test_a_round_of_a_tanker_out_of_use_is_not_passed_over_in_silence(office, planner, tanker):
    other = make_tanker(office, base=tanker.base, crew=tanker.crew)
    jobs = [job_with_owner(office, minutes=200) for _ in range(4)]
    run = run_for(office, planner, [tanker, other], jobs)
    assert run.rounds.count() == 2
    other.in_use = False
    other.save()
    with pytest.raises(rounds.RoundsNotReady, match=f"{other.name}, .* not in use"):
        accept(run, planner)
