"""What telephones deliver late: once, in order, and never over what changed meanwhile."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied

from scheduler import booking
from scheduler.delivered_sheets import seen_of
from scheduler.deliveries import Told, clock_of, take_delivery
from scheduler.models import Delivery, Job, Message
from scheduler.settling import settle
from servicing.models import Visit
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
    make_works,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 15, tzinfo=dt.UTC)
MORNING = NOW - dt.timedelta(hours=6)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def installer():
    return make_organisation()


@pytest.fixture
def tess(installer):
    return make_user(installer, "crew", name="Tess")


@pytest.fixture
def ines(installer):
    return make_user(installer, name="Ines")


@pytest.fixture
def stop(installer, tess):
    crew = make_crew(installer, user=tess, name="Tess")
    planned = make_round(installer, crew, day=TODAY, tanker=make_tanker(installer, crew=crew))
    job = make_job(make_system(installer), due_on=TODAY, state=Job.State.AGREED)
    return make_stop(planned, job=job)


def fields_of(job, sheet_key, **changed):
    tank = job.system.tanks.get()
    told = {
        "sheet_key": str(sheet_key),
        "visited_on": TODAY.isoformat(),
        "ground": "dry",
        "cautions_read": "on",
        "removed": "all",
        "volume_removed": "2700",
        "lid_back_on": "on",
        "no_photo_because": "The camera is broken",
        "signed_how": "nobody",
        f"tank-{tank.pk}-sludge_mm": "300",
        f"tank-{tank.pk}-method": "core_sampler",
        **changed,
    }
    return [[name, value] for name, value in told.items()]


def sheet(job, user, *, seen=None, sheet_key=None, made_at=MORNING, sent_at=NOW, **changed):
    sheet_key = sheet_key or uuid.uuid4()
    return Told(
        key=uuid.uuid4(),
        kind="sheet",
        made_at=made_at,
        sent_at=sent_at,
        job=job,
        fields=fields_of(job, sheet_key, **changed),
        seen=seen_of(job, user) if seen is None else seen,
        sheet_key=sheet_key,
    )


def act(kind, stop, at, **more):
    return Told(key=uuid.uuid4(), kind=kind, made_at=at, sent_at=NOW, stop=stop, **more)


def taken(told, by):
    return take_delivery(told=told, by=by, now=NOW)


def test_a_second_delivery_answers_the_same_and_changes_nothing(stop, tess):
    told = sheet(stop.job, tess)
    first, again = taken(told, tess), taken(told, tess)
    assert first == again
    assert again.state == Delivery.State.TAKEN
    assert (Visit.objects.count(), Delivery.objects.count()) == (1, 1)


def test_one_sheet_under_two_keys_is_one_visit(stop, tess):
    sheet_key = uuid.uuid4()
    seen = seen_of(stop.job, tess)
    for _ in range(2):
        delivery = taken(sheet(stop.job, tess, seen=seen, sheet_key=sheet_key), tess)
        assert delivery.state == Delivery.State.TAKEN
    assert Visit.objects.count() == 1


def test_somebody_elses_key_is_refused(stop, tess, installer):
    told = sheet(stop.job, tess)
    taken(told, tess)
    with pytest.raises(PermissionDenied):
        taken(told, make_user(installer, "crew"))


def test_who_may_not_record_visits_delivers_nothing(stop, tess, installer):
    seen = seen_of(stop.job, tess)
    for sid in (make_user(installer, "reader"), make_user(make_organisation(), "crew")):
        with pytest.raises(PermissionDenied):
            taken(sheet(stop.job, sid, seen=seen), sid)
    assert not Delivery.objects.exists()


def test_an_arrival_is_noted_for_the_time_it_happened(stop, tess):
    taken(act("arrived", stop, MORNING), tess)
    taken(act("left", stop, MORNING + dt.timedelta(minutes=40)), tess)
    stop.refresh_from_db()
    assert (stop.arrived_at, stop.left_at) == (MORNING, MORNING + dt.timedelta(minutes=40))
    assert stop.job.state == Job.State.UNDER_WAY


def test_nobody_hears_in_the_evening_that_the_crew_left_in_the_morning(stop, tess, installer):
    after = make_job(make_system(installer), due_on=TODAY)
    make_stop(stop.round, job=after)
    booking.book(
        job=after,
        starts_at=NOW + dt.timedelta(hours=1),
        ends_at=NOW + dt.timedelta(hours=2),
        by=make_user(installer),
        tell=False,
    )
    taken(act("arrived", stop, MORNING), tess)
    taken(act("left", stop, MORNING + dt.timedelta(minutes=40)), tess)
    assert not Message.objects.filter(job=after).exists()


def test_a_wrong_ticket_goes_back_and_a_right_one_is_noted(stop, tess, installer):
    tip = make_stop(stop.round, works=make_works(installer))
    wrong = taken(act("tipped", tip, MORNING, fields=[[f"tip-{tip.pk}-volume", "lots"]]), tess)
    assert wrong.state == Delivery.State.SENT_BACK
    right = [[f"tip-{tip.pk}-volume", "2700"], [f"tip-{tip.pk}-ticket", "T 7"]]
    assert taken(act("tipped", tip, MORNING, fields=right), tess).state == Delivery.State.TAKEN
    tip.refresh_from_db()
    assert (tip.tipped_litres, tip.tip_ticket) == (2700, "T 7")


def test_a_stop_planned_away_leaves_the_arrival_to_the_office(stop, tess):
    gone = Told(key=uuid.uuid4(), kind="arrived", made_at=MORNING, sent_at=NOW, job=stop.job)
    delivery = taken(gone, tess)
    assert delivery.state == Delivery.State.DISPUTED
    assert "planned the day anew" in delivery.why


def test_a_fault_goes_back_with_its_field_and_is_put_right(stop, tess):
    sheet_key, seen = uuid.uuid4(), seen_of(stop.job, tess)
    wrong = taken(sheet(stop.job, tess, sheet_key=sheet_key, volume_removed="9000"), tess)
    assert wrong.state == Delivery.State.SENT_BACK
    assert "look again" in wrong.answer["errors"]["volume_removed"][0]
    assert wrong.answer["confirm"]
    right = sheet(stop.job, tess, seen=seen, sheet_key=sheet_key, volume_removed="9000", sure="on")
    assert taken(right, tess).state == Delivery.State.TAKEN
    wrong.refresh_from_db()
    assert wrong.state == Delivery.State.SET_ASIDE
    assert Visit.objects.get().emptying.litres_removed == 9000


# --- the telephone's clock ---


@pytest.mark.parametrize("days", [1, -1])
def test_a_clock_a_day_off_is_put_right_and_shown(stop, tess, days):
    off = dt.timedelta(days=days)
    wrong_day = (TODAY + off).isoformat()
    told = sheet(stop.job, tess, made_at=MORNING + off, sent_at=NOW + off, visited_on=wrong_day)
    delivery = taken(told, tess)
    assert delivery.state == Delivery.State.TAKEN
    assert delivery.visit.visited_on == TODAY
    assert delivery.clock_off_seconds == days * 86_400
    assert "24 h 0 min " + ("ahead" if days > 0 else "behind") in delivery.answer["clock"]
    assert ["visited_on", wrong_day] in delivery.contents["fields_as_sent"]


def test_a_day_that_was_typed_otherwise_is_left(stop, tess):
    off = dt.timedelta(days=1)
    yesterday = (TODAY - dt.timedelta(days=1)).isoformat()
    told = sheet(stop.job, tess, made_at=MORNING + off, sent_at=NOW + off, visited_on=yesterday)
    assert taken(told, tess).visit.visited_on.isoformat() == yesterday


def test_a_clock_that_put_itself_right_meanwhile_is_noticed(stop, tess):
    told = act("arrived", stop, NOW + dt.timedelta(days=1))
    clock = clock_of(told, NOW)
    assert clock.off_seconds == 86_400
    assert clock.moment == NOW


def test_a_minute_is_no_wrong_clock(stop):
    told = Told(
        key=uuid.uuid4(), kind="note", made_at=MORNING, sent_at=NOW + dt.timedelta(minutes=1)
    )
    assert clock_of(told, NOW).off_seconds is None


# --- what changed meanwhile ---


def test_two_crews_on_one_job_are_both_kept(stop, tess, installer, ines):
    seen = seen_of(stop.job, tess)
    other = make_user(installer, "crew", name="Wynn")
    taken(sheet(stop.job, tess, seen=seen), tess)
    second = taken(sheet(stop.job, other, seen=seen, volume_removed="1500"), other)
    assert second.state == Delivery.State.DISPUTED
    assert "done already" in second.why
    assert Visit.objects.get().emptying.litres_removed == 2700
    settle(delivery=second, how="instead", by=ines, now=NOW)
    stop.job.refresh_from_db()
    assert stop.job.visit.emptying.litres_removed == 1500
    assert stop.job.visit.replaces.emptying.litres_removed == 2700


def test_both_visits_may_have_happened(stop, tess, installer, ines):
    seen = seen_of(stop.job, tess)
    for litres in ("2700", "1500"):
        last = taken(sheet(stop.job, tess, seen=seen, volume_removed=litres), tess)
    settle(delivery=last, how="beside", by=ines, now=NOW)
    volumes = Visit.objects.that_count().values_list("emptying__litres_removed", flat=True)
    assert set(volumes) == {1500, 2700}


def test_a_job_withdrawn_meanwhile_is_settled_by_the_office(stop, tess, ines):
    told = sheet(stop.job, tess)
    booking.withdraw(job=stop.job, because="House sold", by=ines, now=NOW)
    delivery = taken(told, tess)
    assert "withdrawn already" in delivery.why
    assert not Visit.objects.exists()
    settle(delivery=delivery, how="aside", words="Rang Tess", by=ines, now=NOW)
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.SET_ASIDE
    assert "Rang Tess" in delivery.settled_how
    assert delivery.contents["fields"]


def test_a_job_moved_to_another_day_is_not_overwritten(stop, tess, ines):
    told = sheet(stop.job, tess)
    stop.round.day = TODAY + dt.timedelta(days=2)
    stop.round.save(update_fields=["day"])
    delivery = taken(told, tess)
    assert "moved this job to Friday 27 November" in delivery.why
    settle(delivery=delivery, how="record", by=ines, now=NOW)
    stop.job.refresh_from_db()
    assert stop.job.state == Job.State.DONE


def test_a_job_taken_from_the_firm_meanwhile_is_kept(installer, ines):
    operator = make_organisation()
    tess = make_user(operator, "crew")
    job = make_job(make_system(installer), due_on=TODAY, handed_to=operator)
    told = sheet(job, tess)
    job.handed_to = None
    job.save()
    delivery = taken(told, tess)
    assert delivery.state == Delivery.State.DISPUTED
    assert f"gave this job to {installer}" in delivery.why
    settle(delivery=delivery, how="record", by=ines, now=NOW)
    assert Visit.objects.count() == 1


def test_what_is_settled_is_not_settled_again(stop, tess, ines):
    told = sheet(stop.job, tess)
    booking.withdraw(job=stop.job, because="House sold", by=ines, now=NOW)
    delivery = taken(told, tess)
    settle(delivery=delivery, how="aside", by=ines, now=NOW)
    with pytest.raises(booking.NotPossible):
        settle(delivery=delivery, how="beside", by=ines, now=NOW)


def test_the_crew_itself_settles_nothing(stop, tess, ines):
    told = sheet(stop.job, tess)
    booking.withdraw(job=stop.job, because="House sold", by=ines, now=NOW)
    with pytest.raises(PermissionDenied):
        settle(delivery=taken(told, tess), how="beside", by=tess, now=NOW)
