"""The crew's sheet: closing a job by what was found."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from customers.models import Party
from scheduler import booking
from scheduler.job_sheets import close_job_sheet
from scheduler.models import Job, Message
from servicing.models import System, Visit
from servicing.visit_facts import RemovalFound, VisitFound, VisitRefused
from tests.make import (
    make_job,
    make_organisation,
    make_person,
    make_premises,
    make_system,
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
def operator():
    return make_organisation(name="Operator")


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
        f"tank-{tank.pk}-sludge_mm": "300",
        f"tank-{tank.pk}-scum_mm": "60",
        f"tank-{tank.pk}-method": "core_sampler",
        **fields,
    }


def post(client, user, job, data, name="job_sheet"):
    client.force_login(user)
    return client.post(reverse(f"scheduler:{name}", args=[job.public_id]), data)


def found(**fields):
    fields.setdefault("no_photo_because", "The camera is broken")
    return VisitFound(visited_on=TODAY, lid_back_on=True, **fields)


def test_recording_finishes_the_job_and_tells_the_owner(job, tess):
    owner = make_person(job.organisation)
    Party.objects.create(premises=job.system.premises, person=owner, role="owner")
    told = found(removal=RemovalFound(litres_removed=2700))
    visit = close_job_sheet(job=job, found=told, by=tess, now=NOW)
    job.refresh_from_db()
    assert (job.state, job.visit) == (Job.State.DONE, visit)
    assert Message.objects.filter(job=job, person=owner).count() == 1


def test_closing_twice_with_one_sheet_is_one_visit(job, tess):
    told = found()
    first = close_job_sheet(job=job, found=told, by=tess, now=NOW)
    assert close_job_sheet(job=job, found=told, by=tess, now=NOW) == first
    assert Visit.objects.count() == 1


def test_a_second_sheet_for_a_closed_job_is_told_so(job, tess):
    close_job_sheet(job=job, found=found(), by=tess, now=NOW)
    with pytest.raises(booking.NotPossible, match="not recorded a second time"):
        close_job_sheet(job=job, found=found(), by=tess, now=NOW)
    assert Visit.objects.count() == 1


def test_abandoning_makes_the_work_wanted_again(job, tess):
    told = found(abandoned_because=Visit.Abandoned.DOG)
    close_job_sheet(job=job, found=told, by=tess, now=NOW)
    job.refresh_from_db()
    after = job.followed_by.get()
    assert (job.state, after.state) == (Job.State.ABANDONED, Job.State.WANTED)
    job.system.refresh_from_db()
    assert job.system.last_emptied_on is None


def test_a_refused_sheet_leaves_job_and_history_alone(job, tess):
    with pytest.raises(VisitRefused):
        close_job_sheet(
            job=job,
            found=VisitFound(visited_on=TODAY, lid_back_on=False),
            by=tess,
            now=NOW,
        )
    job.refresh_from_db()
    assert job.state == Job.State.AGREED
    assert not Visit.objects.exists()


def test_an_operators_crew_closes_the_job_handed_to_it(job, operator):
    job.handed_to = operator
    job.save()
    visit = close_job_sheet(job=job, found=found(), by=make_user(operator, "crew"), now=NOW)
    assert visit.organisation == job.organisation


def test_an_operator_does_not_close_a_job_it_was_not_given(job, operator):
    with pytest.raises(PermissionDenied):
        close_job_sheet(job=job, found=found(), by=make_user(operator, "crew"), now=NOW)


def test_today_is_the_day_at_the_place_not_in_utc(job, tess):
    job.system.premises.time_zone = "Pacific/Auckland"
    job.system.premises.save()
    tomorrow = VisitFound(
        visited_on=TODAY + dt.timedelta(days=1), lid_back_on=True, no_photo_because="No camera"
    )
    late = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)  # one in the morning of the 26th there
    assert close_job_sheet(job=job, found=tomorrow, by=tess, now=late)
