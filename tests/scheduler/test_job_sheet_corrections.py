"""A sheet put right after it was recorded: the old one is kept, the new one counts."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from scheduler.booking import NotPossible
from scheduler.job_sheets import close_job_sheet, correct_job_sheet
from scheduler.models import Job
from servicing.models import Chamber, System, Visit
from servicing.visit_facts import (
    ChamberFound,
    DefectFound,
    DipFound,
    FieldFound,
    PlantFound,
    RemovalFound,
    VisitFound,
)
from tests.make import make_job, make_organisation, make_system, make_user

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 7, 1, 9, tzinfo=dt.UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def job():
    system = make_system(kind=System.Kind.PACKAGE_PLANT, discharge=System.Discharge.DRAINAGE_FIELD)
    Chamber.objects.create(system=system, label="IC1")
    return make_job(system, due_on=TODAY)


@pytest.fixture
def tess(job):
    return make_user(job.organisation, "crew", name="Tess")


@pytest.fixture
def first(job, tess):
    found = VisitFound(
        visited_on=TODAY,
        arrived_at=dt.datetime(2026, 7, 1, 7, 10, tzinfo=dt.UTC),
        ground="wet",
        cautions_read=True,
        lid_back_on=True,
        no_photo_because="The camera is broken",
        serviced=True,
        who_was_present="Omar",
        dips=(DipFound(tank=job.system.tanks.get(), sludge_mm=300, method="dip_stick"),),
        removal=RemovalFound(litres_removed=270, refilled_with_water=True),
        chambers=(ChamberFound(chamber=job.system.chambers.get(), debris="fat", amount=2),),
        drainage_field=FieldFound(surface="soft", smell=True),
        plant=PlantFound(blower_running=False, settled_sludge_ml_per_l=350),
        defects=(DefectFound(what="Blower stopped", severity="repair"),),
    )
    return close_job_sheet(job=job, found=found, by=tess, now=NOW)


def address(job):
    return reverse("scheduler:job_sheet_correct", args=[job.public_id])


def as_sent(page):
    """What a browser would send of the forms as they stand on the page."""
    sent = {}
    for form in page.context["sheet"].forms:
        for bound in form:
            value = bound.value()
            if value not in (None, False, ""):
                sent[bound.html_name] = "on" if value is True else str(value)
    return sent


def test_the_sheet_comes_back_as_it_was_recorded(client, job, tess, first):
    client.force_login(tess)
    sent = as_sent(client.get(address(job)))
    assert sent["arrived"] == "08:10:00"  # summer time: an hour ahead of UTC
    assert (sent["volume_removed"], sent["removed"]) == ("270", "all")
    assert (sent["surface"], sent["blower_running"]) == ("soft", "no")


def test_what_is_sent_back_unchanged_records_the_same(client, job, tess, first):
    client.force_login(tess)
    sent = as_sent(client.get(address(job)))
    assert client.post(address(job), sent).status_code == 302
    new = Visit.objects.get(replaced_by__isnull=True)
    assert new != first
    for name in ("visited_on", "arrived_at", "ground", "serviced", "who_was_present"):
        assert getattr(new, name) == getattr(first, name)
    assert new.dips.get().method == "dip_stick"
    assert new.emptying.litres_removed == 270
    assert new.chamber_findings.get().amount == 2
    assert new.plant_check.settled_sludge_ml_per_l == 350
    assert (new.plant_check.blower_running, new.field_finding.smell) == (False, True)
    assert new.defects.get().what == "Blower stopped"


def test_the_job_points_to_the_correction_and_the_old_record_stays(client, job, tess, first):
    client.force_login(tess)
    sent = as_sent(client.get(address(job))) | {"volume_removed": "2700"}
    for _ in range(2):
        client.post(address(job), sent)
    job.refresh_from_db()
    first.refresh_from_db()
    assert Visit.objects.count() == 2
    assert job.visit.emptying.litres_removed == 2700
    assert (first.replaced_by, first.emptying.litres_removed) == (job.visit, 270)


def test_a_correction_is_checked_like_a_sheet(client, job, tess, first):
    client.force_login(tess)
    sent = as_sent(client.get(address(job))) | {"visited_on": "2026-07-02"}
    response = client.post(address(job), sent)
    assert response.status_code == 422
    assert "This day has not come yet." in response.content.decode()


def test_only_what_is_done_is_corrected(client, job, tess):
    client.force_login(tess)
    assert client.get(address(job)).url == reverse("scheduler:job_sheet", args=[job.public_id])
    found = VisitFound(visited_on=TODAY, lid_back_on=True, sheet_key=uuid.uuid4())
    with pytest.raises(NotPossible):
        correct_job_sheet(job=job, found=found, by=tess, now=NOW)
    assert job.state == Job.State.WANTED


@pytest.mark.parametrize("method", ["get", "post"])
def test_a_stranger_gets_404_and_a_reader_403(client, job, first, method):
    client.force_login(make_user(make_organisation()))
    assert getattr(client, method)(address(job)).status_code == 404
    client.force_login(make_user(job.organisation, "reader"))
    assert getattr(client, method)(address(job)).status_code == 403
