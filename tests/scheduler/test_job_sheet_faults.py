"""What a crew's sheet refuses, asks again, and takes only once."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from scheduler.models import Job
from servicing.models import Chamber, System, Visit
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_premises,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
TODAY = NOW.date()
GATE_CODE = "4711#"


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def installer():
    return make_organisation(name="Installer")


@pytest.fixture
def system(installer):
    premises = make_premises(
        installer, name="Barn End", gate_code=GATE_CODE, access_note="By the lower track", dog=True
    )
    return make_system(
        premises=premises,
        lid_latitude=52.51234,
        lid_longitude=-2.81234,
        lid_note="Two metres left of the oak",
        discharge=System.Discharge.DRAINAGE_FIELD,
        tank={"outlet_height_mm": 1200},
    )


@pytest.fixture
def job(system):
    return make_job(system, due_on=TODAY, state=Job.State.AGREED)


@pytest.fixture
def tess(installer):
    return make_user(installer, "crew", name="Tess")


def sheet(job, **fields):
    tank = job.system.tanks.get()
    return {
        "sheet_key": str(uuid.uuid4()),
        "visited_on": TODAY.isoformat(),
        "arrived": "08:10",
        "left": "08:50",
        "ground": "dry",
        "cautions_read": "on",
        "removed": "all",
        "volume_removed": "2700",
        "lid_back_on": "on",
        "no_photo_because": "The camera is broken",
        "signed_how": "nobody",
        f"tank-{tank.pk}-sludge_mm": "300",
        f"tank-{tank.pk}-scum_mm": "60",
        f"tank-{tank.pk}-method": "core_sampler",
        **fields,
    }


def post(client, user, job, data, name="job_sheet"):
    client.force_login(user)
    return client.post(reverse(f"scheduler:{name}", args=[job.public_id]), data)


def test_a_double_press_records_one_visit(client, job, tess):
    twice = sheet(job)
    assert post(client, tess, job, twice).status_code == 302
    assert post(client, tess, job, twice).status_code == 302
    assert Visit.objects.count() == 1


def test_two_crews_on_one_job_are_told_plainly(client, job, tess):
    post(client, tess, job, sheet(job))
    response = post(client, make_user(job.organisation, "crew"), job, sheet(job))
    assert "not recorded a second time" in client.get(response.url).content.decode()
    assert Visit.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"visited_on": "2026-11-26"}, "This day has not come yet."),
        ({"visited_on": "nonsense"}, "Give a day of the calendar."),
        ({"lid_back_on": ""}, "Put the cover back on"),
        ({"cautions_read": ""}, "Read the cautions"),
        ({"removed": "none"}, "This job is an emptying."),
        ({"removed": ""}, "Say what was taken out."),
        ({"volume_removed": ""}, "Say how much was taken out."),
        ({"removed": "part"}, "Say about how much sludge stayed in."),
        ({"volume_removed": "-3"}, "greater than or equal to 0"),
        ({"left": "07:00"}, "The crew left before it arrived."),
    ],
)
def test_what_is_wrong_is_told_and_nothing_typed_is_lost(client, job, tess, change, message):
    response = post(client, tess, job, sheet(job, who_was_present="Mrs Hay", **change))
    assert response.status_code == 422
    text = response.content.decode()
    assert message in text
    assert 'value="Mrs Hay"' in text
    assert not Visit.objects.exists()


def test_a_reading_deeper_than_the_tank_is_told_at_its_field(client, job, tess):
    tank = job.system.tanks.get()
    response = post(client, tess, job, sheet(job, **{f"tank-{tank.pk}-sludge_mm": "1900"}))
    form = response.context["sheet"].dips[0]
    assert "deeper than the tank" in form.errors["sludge_mm"][0]


def test_an_unlikely_volume_can_be_confirmed(client, job, tess):
    unlikely = sheet(job, volume_removed="5000")
    response = post(client, tess, job, unlikely)
    assert 'name="sure"' in response.content.decode()
    assert post(client, tess, job, {**unlikely, "sure": "on"}).status_code == 302
    assert Visit.objects.get().emptying.litres_removed == 5000


def test_more_than_the_tanker_of_the_round_holds_is_asked_again(client, job, tess, installer):
    tanker = make_tanker(installer, capacity_litres=2000, vehicle_registration="T 1")
    planned = make_round(installer, make_crew(installer, user=tess), day=TODAY, tanker=tanker)
    make_stop(planned, job=job)
    response = post(client, tess, job, sheet(job))
    assert "more than one load of 2,000 L" in response.content.decode()


def test_debris_without_an_amount_is_asked_for(client, job, tess):
    chamber = Chamber.objects.create(system=job.system, label="IC1")
    name = f"chamber-{chamber.pk}"
    said = {f"{name}-flow": "slow", f"{name}-debris": "fat", f"{name}-amount": "0"}
    response = post(client, tess, job, sheet(job, **said))
    assert "amount" in response.context["sheet"].chambers[0].errors


def test_a_job_that_could_not_be_done_is_closed_with_its_reason(client, job, tess):
    told = {
        "left-undone-sheet_key": str(uuid.uuid4()),
        "left-undone-visited_on": TODAY.isoformat(),
        "left-undone-abandoned_because": "locked_gate",
        "left-undone-cover_lifted": "no",
    }
    response = post(client, tess, job, told, "job_sheet_abandon")
    job.refresh_from_db()
    assert job.state == Job.State.ABANDONED
    assert "Locked gate" in client.get(response.url).content.decode()


def test_a_job_is_not_abandoned_without_a_reason(client, job, tess):
    told = {
        "left-undone-sheet_key": str(uuid.uuid4()),
        "left-undone-visited_on": TODAY.isoformat(),
    }
    response = post(client, tess, job, told, "job_sheet_abandon")
    assert response.status_code == 422
    assert "Choose the reason." in response.content.decode()


def test_an_expired_session_comes_back_to_the_sheet(client, job):
    response = client.post(reverse("scheduler:job_sheet", args=[job.public_id]), sheet(job))
    assert response.status_code == 302
    assert f"/jobs/{job.public_id}/sheet/" in response.url
