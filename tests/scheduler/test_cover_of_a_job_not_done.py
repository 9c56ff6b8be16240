"""A job is not left with the cover off: whoever lifted it says that it is back, and shows it.

That no opening is left unguarded is common practice; no source is claimed for the wording.
"""

import datetime as dt
import json
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from scheduler.models import Delivery, Job
from servicing.models import Visit
from tests.make import make_job, make_jpeg, make_organisation, make_system, make_user

pytestmark = pytest.mark.django_db
TODAY = "2026-11-25"
NOW = f"{TODAY}T10:00:00+00:00"
NO_PHOTO = "Photograph the cover back on, or say below why no photo can be taken."
OFF = "The cover is not said to be back on. Guard the opening, ring in, then confirm."


@pytest.fixture(autouse=True)
def _clock(time_machine, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def job():
    return make_job(make_system(make_organisation()), due_on=dt.date(2026, 12, 1))


@pytest.fixture
def crew(client, job):
    client.force_login(make_user(job.organisation, "crew"))
    return client


def told(**fields):
    answers = {
        "sheet_key": str(uuid.uuid4()),
        "visited_on": TODAY,
        "abandoned_because": "tanker_full",
        "cover_lifted": "yes",
        "lid_back_on": "on",
        **fields,
    }
    return {f"left-undone-{name}": value for name, value in answers.items() if value}


def sent(crew, job, answers):
    return crew.post(reverse("scheduler:job_sheet_abandon", args=[job.public_id]), answers)


def picture():
    return SimpleUploadedFile("x.jpg", make_jpeg(), content_type="image/jpeg")


def test_the_sheet_asks_whether_the_cover_was_lifted(crew, job):
    answer = sent(crew, job, told(cover_lifted=""))
    assert answer.status_code == 422
    assert "Say whether the cover was lifted." in answer.content.decode()


def test_a_lifted_cover_wants_its_photograph(crew, job):
    answer = sent(crew, job, told())
    assert answer.status_code == 422
    assert NO_PHOTO in answer.context["abandon"].visit.errors["photo_lid_back"]
    assert not Visit.objects.exists()


def test_with_the_photograph_it_is_recorded_and_keeps_it(crew, job):
    answer = sent(crew, job, told(photo_lid_back=picture()))
    assert answer.status_code == 302
    visit = Visit.objects.get()
    assert (visit.abandoned_because, visit.lid_back_on) == ("tanker_full", True)
    assert [photo.kind for photo in visit.photos.all()] == ["lid_back"]
    assert "Back on and fastened" in crew.get(answer.url).content.decode()


def test_the_reason_for_no_photograph_is_kept(crew, job):
    assert sent(crew, job, told(no_photo_because="Camera wet")).status_code == 302
    assert Visit.objects.get().no_photo_because == "Camera wet"


def test_a_cover_that_was_never_touched_asks_for_nothing(crew, job):
    untouched = told(cover_lifted="no", lid_back_on="", abandoned_because="too_wet")
    assert sent(crew, job, untouched).status_code == 302
    job.refresh_from_db()
    assert job.state == Job.State.ABANDONED


def test_a_lifted_cover_is_asked_after_whatever_the_reason(crew, job):
    off = told(lid_back_on="", abandoned_because="dog", no_photo_because="It lies broken")
    answer = sent(crew, job, off)
    assert OFF in answer.context["abandon"].visit.errors["lid_back_on"]
    assert sent(crew, job, {**off, "left-undone-sure": "on"}).status_code == 302
    assert not Visit.objects.get().lid_back_on


def delivered(crew, job, answers):
    body = {
        "key": str(uuid.uuid4()),
        "kind": "abandoned",
        "job": str(job.public_id),
        "sheetKey": answers["left-undone-sheet_key"],
        "madeAt": NOW,
        "sentAt": NOW,
        "fields": [list(pair) for pair in answers.items()],
    }
    return crew.post(reverse("scheduler:crew_deliver"), json.dumps(body), "application/json").json()


def test_a_sheet_from_the_telephone_is_held_to_the_same(crew, job):
    answer = delivered(crew, job, told())
    assert NO_PHOTO in json.dumps(answer)
    assert Delivery.objects.get().state == "sent_back"
    assert not Visit.objects.exists()
    delivered(crew, job, told(no_photo_because="Camera wet"))
    assert Visit.objects.get().no_photo_because == "Camera wet"
