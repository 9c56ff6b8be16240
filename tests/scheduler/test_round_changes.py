"""A job moved after its round was accepted. Rules of the job, no source."""

import datetime as dt

import pytest
import time_machine
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from customers.models import Party
from scheduler import booking, round_changes
from scheduler.models import CalendarEvent, Job, Message, Round, Stop
from scheduler.round_plans import look_at_accepted_move
from scheduler.rounds import RoundsNotReady
from tests.make import (
    make_crew,
    make_organisation,
    make_person,
    make_tanker,
    make_user,
    make_works,
)
from tests.scheduler.planning import DAY, THE_DAY_BEFORE, accepted_day, job_at

NEXT = DAY + dt.timedelta(days=1)
pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(THE_DAY_BEFORE, tick=False):
        yield


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
    job = job_at(office, **fields)
    person = make_person(office)
    Party.objects.create(premises=job.system.premises, person=person, role=Party.Role.OWNER)
    return job


@pytest.fixture
def planned(office, planner, tankers):
    """Three jobs on One, accepted and told."""
    jobs = [owned_job(office) for _ in range(3)]
    [row] = accepted_day(office, planner, tankers[:1], jobs)
    Message.objects.update(state="sent", sent_at=THE_DAY_BEFORE, attempts=1)
    return Round.objects.get(pk=row.pk)


def order(planned):
    stops = planned.stops.filter(job__isnull=False).order_by("position")
    return [stop.job for stop in stops]


def move(planned, job, by, **where):
    where = {"tanker": planned.tanker, "day": planned.day, "position": None, "part": None, **where}
    where.setdefault("others_may_move", False)
    return round_changes.move_accepted(planned=planned, job=job, by=by, now=THE_DAY_BEFORE, **where)


def waiting():
    return set(Message.objects.filter(state="waiting").values_list("to_address", flat=True))


def owner_of(job):
    return job.system.premises.parties.get().person.email


def test_a_place_that_keeps_every_promise_tells_only_the_crew(planned, planner):
    """Jobs at one spot: their hours, an hour either side, allow another order."""
    first, second, third = order(planned)
    told = move(planned, second, planner, position=0)
    assert order(planned) == [second, first, third]
    assert told.promises == ()
    assert waiting() == {planned.crew.email}


def test_a_promise_moves_only_where_it_cannot_be_kept(planned, planner):
    """Its place stays the same: the hours that were told hold, and nobody is told others."""
    first = order(planned)[0]
    was = booking.standing_appointment(first)
    told = move(planned, first, planner, position=0)
    now = booking.standing_appointment(first)
    assert told.promises == ()
    assert (now.starts_at, now.ends_at) == (was.starts_at, was.ends_at)


def test_on_another_day_the_promise_moves_and_owner_and_both_crews_hear(planned, planner, tankers):
    job = order(planned)[1]
    was = booking.standing_appointment(job)
    told = move(planned, job, planner, tanker=tankers[1], day=NEXT)
    promise = booking.standing_appointment(job)
    assert [each.job for each in told.promises] == [job]
    assert promise.pk == was.pk
    assert promise.starts_at.date() == NEXT
    there = Round.objects.get(tanker=tankers[1], day=NEXT, accepted_at__isnull=False)
    assert order(there) == [job]
    assert there.crew == tankers[1].crew
    assert waiting() == {owner_of(job), planned.crew.email, tankers[1].crew.email}
    assert CalendarEvent.objects.get(attendee_email=owner_of(job)).sequence == 1


def test_who_would_hear_is_said_before_anything_changes(planned, tankers):
    job = order(planned)[0]
    where = {"tanker": tankers[1], "day": NEXT, "position": None, "part": None}
    looked = look_at_accepted_move(planned, job=job, **where)
    [(reference, people)] = round_changes.told_of(looked, THE_DAY_BEFORE)
    assert reference == job.system.reference
    assert [one.address for one in people] == [owner_of(job)]
    assert len(order(planned)) == 3
    assert not waiting()


def test_the_promise_to_another_is_a_wall_unless_it_may_move(planned, planner):
    first, _second, third = order(planned)
    promise = booking.standing_appointment(first)
    ends = planned.stops.get(job=first).start_at + dt.timedelta(minutes=10)
    type(promise).objects.filter(pk=promise.pk).update(ends_at=ends)
    with pytest.raises(RoundsNotReady, match=first.system.reference):
        move(planned, third, planner, position=0)
    assert order(planned)[0] == first
    move(planned, third, planner, position=0, others_may_move=True)
    assert order(planned)[0] == third
    assert owner_of(first) in waiting()


def test_a_rule_that_would_break_changes_nothing(planned, planner, office, tankers):
    small = make_tanker(office, base=tankers[0].base, capacity_litres=1000, crew=tankers[0].crew)
    job = order(planned)[0]
    with pytest.raises(RoundsNotReady, match=small.name):
        move(planned, job, planner, tanker=small)
    assert len(order(planned)) == 3
    assert not waiting()


def test_the_other_days_of_the_week_count_towards_its_limit(office, planner, tankers):
    """Two rounds of Two fill its week; a third job would break the operator's own limit."""
    [planned] = accepted_day(office, planner, tankers[:1], [owned_job(office)])
    [later] = accepted_day(
        office, planner, tankers[1:], [owned_job(office)], first_day=DAY + dt.timedelta(days=3)
    )
    hours = (later.ends_at - later.starts_at).total_seconds() / 60
    tankers[1].max_week_minutes = round(hours) + 30
    tankers[1].save()
    with pytest.raises(RoundsNotReady, match="week"):
        move(planned, order(planned)[0], planner, tanker=tankers[1], day=NEXT)


def test_a_round_left_empty_is_called_off(office, planner, tankers):
    [planned] = accepted_day(office, planner, tankers[:1], [owned_job(office)])
    move(planned, order(planned)[0], planner, tanker=tankers[1])
    planned.refresh_from_db()
    assert planned.accepted_at is None
    assert not planned.stops.exists()
    assert CalendarEvent.objects.get(round=planned).cancelled_at is not None


def test_a_round_that_has_begun_sends_you_to_the_rest_of_the_day(planned, planner):
    Stop.objects.filter(pk=planned.stops.filter(job__isnull=False)[0].pk).update(
        arrived_at=THE_DAY_BEFORE
    )
    with pytest.raises(RoundsNotReady, match="has begun"):
        move(planned, order(planned)[2], planner, position=0)


def test_a_tanker_without_a_crew_and_a_day_gone_by_are_refused(planned, planner, office):
    bare = make_tanker(office)
    yesterday = THE_DAY_BEFORE.date() - dt.timedelta(days=1)
    with pytest.raises(RoundsNotReady) as fault:
        move(planned, order(planned)[0], planner, tanker=bare, day=yesterday)
    assert len(fault.value.reasons) == 2


def test_sid_and_the_crew_may_move_nothing(planned, office):
    for who in (make_user(make_organisation(), "office"), make_user(office, "crew")):
        with pytest.raises(PermissionDenied):
            move(planned, order(planned)[0], who, position=2)


def test_a_visit_of_a_job_cut_up_moves_to_another_tanker_of_its_day(office, planner, tankers):
    job = owned_job(office, litres=16_000)
    [planned] = accepted_day(office, planner, tankers[:1], [job], seconds=2)
    assert set(planned.stops.filter(job=job).values_list("part", flat=True)) == {1, 2}
    look = move(planned, job, planner, part=2, tanker=tankers[1]).look
    assert look.possible
    there = Round.objects.get(tanker=tankers[1], accepted_at__isnull=False)
    assert list(there.stops.filter(job=job).values_list("part", flat=True)) == [2]
    assert list(planned.stops.filter(job=job).values_list("part", flat=True)) == [1]
    promise = booking.standing_appointment(job)
    for stop in Stop.objects.filter(job=job):
        assert promise.starts_at <= stop.start_at <= promise.ends_at


def test_one_visit_of_a_job_cut_up_stays_on_the_day_of_the_others(office, planner, tankers):
    job = owned_job(office, litres=16_000)
    [planned] = accepted_day(office, planner, tankers[:1], [job], seconds=2)
    with pytest.raises(RoundsNotReady, match="is not on"):
        move(planned, job, planner, part=2, tanker=tankers[1], day=NEXT)


def test_the_page_shows_first_and_moves_then(client, planned, planner, tankers):
    client.force_login(planner, backend="django.contrib.auth.backends.ModelBackend")
    job = order(planned)[0]
    assert (
        "data-move"
        in client.get(reverse("scheduler:round", args=[planned.public_id])).content.decode()
    )
    address = reverse("scheduler:round_move", args=[planned.public_id, job.public_id])
    target = {"tanker": tankers[1].public_id, "day": NEXT.isoformat(), "position": "best"}
    page = client.get(address, target).content.decode()
    assert "Who must be told" in page
    assert f"{job.system.premises.parties.get().person} by e-mail" in page
    assert len(order(planned)) == 3
    answer = client.post(address, target)
    assert answer.status_code == 302
    assert len(order(planned)) == 2
    assert Job.objects.get(pk=job.pk).state == Job.State.AGREED


def test_the_page_says_why_not(client, planned, planner, tankers):
    client.force_login(planner, backend="django.contrib.auth.backends.ModelBackend")
    tankers[1].max_duty_minutes = 10
    tankers[1].save()
    job = order(planned)[0]
    address = reverse("scheduler:round_move", args=[planned.public_id, job.public_id])
    target = {"tanker": tankers[1].public_id, "day": NEXT.isoformat(), "position": "best"}
    answer = client.post(address, target)
    assert answer.status_code == 422
    assert "It cannot be moved there" in answer.content.decode()
