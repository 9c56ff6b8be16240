"""What the crew's app asks of the site: its worker, the morning's list, entries and photographs.

The members of the manifest are those of W3C, Web Application Manifest; that a browser installs
only with icons of 192 and 512 pixels is common practice.
"""

import datetime as dt
import io
import json
import re
import uuid

import pytest
from django.contrib.staticfiles import finders
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from scheduler.crew_pack import shell_files
from scheduler.models import Delivery, Job
from servicing.models import Visit, VisitPhoto
from tests.make import (
    make_crew,
    make_job,
    make_jpeg,
    make_organisation,
    make_photo,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
)

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def installer():
    return make_organisation()


@pytest.fixture
def tess(installer):
    return make_user(installer, "crew", name="Tess")


@pytest.fixture
def job(installer, tess):
    crew = make_crew(installer, user=tess)
    planned = make_round(installer, crew, day=TODAY, tanker=make_tanker(installer, crew=crew))
    job = make_job(make_system(installer), due_on=TODAY, state=Job.State.AGREED)
    make_stop(planned, job=job)
    return job


@pytest.fixture
def phone(client, tess):
    client.force_login(tess)
    return client


def earlier_visit(system):
    return Visit.objects.create(
        organisation=system.organisation,
        system=system,
        visited_on=TODAY - dt.timedelta(days=400),
        lid_back_on=True,
    )


def send_photo(phone, job, content, **changed):
    told = {
        "job": job.public_id,
        "key": uuid.uuid4(),
        "sheetKey": uuid.uuid4(),
        "kind": "lid_back",
        "madeAt": NOW.isoformat(),
        "sentAt": NOW.isoformat(),
        "image": SimpleUploadedFile("x.jpg", content, content_type="image/jpeg"),
        **changed,
    }
    return phone.post(reverse("scheduler:crew_photo"), told)


def deliver(phone, **told):
    told = {"key": str(uuid.uuid4()), "madeAt": NOW.isoformat(), "sentAt": NOW.isoformat(), **told}
    address = reverse("scheduler:crew_deliver")
    return phone.post(address, json.dumps(told), content_type="application/json")


def test_the_worker_may_serve_the_whole_site_and_names_files_that_exist(client):
    response = client.get("/sw.js")
    assert response["Content-Type"] == "text/javascript"
    assert all(finders.find(name) for name in shell_files())
    told = json.loads(response.content.decode().split("self.crew = ")[1].split(";\nimport")[0])
    assert len(told["version"]) == 12
    assert "user" not in told


def test_the_shell_has_every_file_the_crews_pages_load(phone, job):
    shell = {f"/static/{name}" for name in shell_files()}
    for address in (
        reverse("scheduler:today"),
        reverse("scheduler:job_sheet", args=[job.public_id]),
    ):
        page = phone.get(address).content.decode()
        assert set(re.findall(r'(?:src|href)="(/static/[^"]+)"', page)) <= shell


def test_the_manifest_makes_the_round_installable(client):
    told = client.get(reverse("scheduler:crew_manifest")).json()
    assert (told["start_url"], told["display"]) == ("/today/", "standalone")
    assert told["name"]
    assert told["short_name"]
    for size in (192, 512):
        (icon,) = [one for one in told["icons"] if one["sizes"] == f"{size}x{size}"]
        with Image.open(finders.find(icon["src"].removeprefix("/static/"))) as picture:
            assert (picture.size, picture.format) == ((size, size), "PNG")


def test_the_page_for_no_signal_holds_nothing_of_anybody(phone, tess):
    page = phone.get(reverse("scheduler:crew_offline")).content.decode()
    assert "not on the telephone" in page
    assert tess.name not in page
    assert "Sign out" not in page


def test_a_crew_takes_along_its_own_sheets_and_the_photos_of_last_time(phone, job, installer):
    visit = earlier_visit(job.system)
    photo, before = make_photo(visit), make_photo(visit, kind="lid_before")
    make_photo(visit, kind="found")
    make_job(make_system(installer), due_on=TODAY)  # on no round
    told = phone.get(reverse("scheduler:crew_take")).json()
    assert told["pages"] == ["/today/", reverse("scheduler:job_sheet", args=[job.public_id])]
    wanted = {reverse("scheduler:photo", args=[one.public_id]) for one in (photo, before)}
    assert set(told["photos"]) == wanted


def test_the_token_is_fresh_and_lets_the_next_post_through(tess, job):
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(tess)
    token = strict.get(reverse("scheduler:crew_token")).json()["token"]
    body = {"key": str(uuid.uuid4()), "kind": "note", "job": str(job.public_id)}
    body |= {"madeAt": NOW.isoformat(), "sentAt": NOW.isoformat(), "fields": [["words", "Mud"]]}
    address, kind = reverse("scheduler:crew_deliver"), "application/json"
    assert strict.post(address, json.dumps(body), kind).status_code == 403
    headers = {"X-CSRFToken": token}
    assert strict.post(address, json.dumps(body), kind, headers=headers).status_code == 200


def test_a_note_reaches_the_office(phone, job, installer, client):
    answer = deliver(phone, kind="note", job=str(job.public_id), fields=[["words", "Mud at 3"]])
    assert answer.json()["state"] == Delivery.State.TAKEN
    client.force_login(make_user(installer))
    page = client.get(reverse("scheduler:job", args=[job.public_id])).content.decode()
    assert "Mud at 3" in page


@pytest.mark.parametrize("told", [{}, {"kind": "nonsense"}, {"kind": "note", "key": "7"}])
def test_what_no_telephone_of_ours_sends_is_refused(phone, job, told):
    assert deliver(phone, job=str(job.public_id), **told).status_code == 400


def test_another_firms_job_is_none_to_deliver_for(job, client):
    client.force_login(make_user(make_organisation(), "crew"))
    assert deliver(client, kind="note", job=str(job.public_id)).status_code in (403, 404)
    assert send_photo(client, job, make_jpeg()).status_code in (400, 403)
    assert not Delivery.objects.exists()
    assert not VisitPhoto.objects.exists()


def test_a_photo_is_kept_once_whatever_is_repeated(phone, job):
    key, sheet_key = uuid.uuid4(), uuid.uuid4()
    for _ in range(2):
        answer = send_photo(phone, job, make_jpeg(2000, 1000), key=key, sheetKey=sheet_key)
        assert answer.status_code == 200
    kept = VisitPhoto.objects.get()
    assert (kept.width, kept.height, kept.visit) == (1600, 800, None)


@pytest.mark.parametrize("content", [b"%PDF-1.7", b"\xff\xd8\xff" + bytes(21 * 1024 * 1024)])
def test_what_is_no_photo_is_refused_in_words(phone, job, content):
    answer = send_photo(phone, job, content)
    assert answer.status_code == 422
    assert "photo" in answer.json()["words"]
    assert not VisitPhoto.objects.exists()


def test_a_photo_is_served_so_that_nothing_in_it_can_run(phone, job):
    photo = make_photo(earlier_visit(job.system))
    answer = phone.get(reverse("scheduler:photo", args=[photo.public_id]))
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert "private" in answer["Cache-Control"]
    assert Image.open(io.BytesIO(answer.content)).format == "JPEG"


def test_an_operators_crew_sees_the_cover_while_the_job_is_open(client, installer):
    operator = make_organisation()
    system = make_system(installer)
    photo = make_photo(earlier_visit(system))
    address = reverse("scheduler:photo", args=[photo.public_id])
    client.force_login(make_user(operator, "crew"))
    assert client.get(address).status_code == 404
    job = make_job(system, due_on=TODAY, handed_to=operator)
    assert client.get(address).status_code == 200
    job.state = Job.State.WITHDRAWN
    job.save()
    assert client.get(address).status_code == 404


def test_without_script_photos_come_with_the_form(phone, job):
    told = {
        "sheet_key": str(uuid.uuid4()),
        "visited_on": TODAY.isoformat(),
        "ground": "dry",
        "cautions_read": "on",
        "removed": "all",
        f"tank-{job.system.tanks.get().pk}-method": "core_sampler",
        "volume_removed": "2700",
        "lid_back_on": "on",
        "signed_how": "typed",
        "signed_by": "Omar Brook",
    }
    address = reverse("scheduler:job_sheet", args=[job.public_id])
    refused = phone.post(address, {**told, "photo_lid_back": SimpleUploadedFile("x.jpg", b"%PDF")})
    assert "This file is no photo." in refused.content.decode()
    for _ in range(2):
        told["photo_lid_back"] = SimpleUploadedFile("x.jpg", make_jpeg())
        assert phone.post(address, told).status_code == 302
    assert Visit.objects.get().photos.count() == 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"signed_how": ""}, "Say who signs"),
        ({"signed_how": "drawn", "signature": "M1 1L2 2"}, "The signature is blank"),
        ({"signed_how": "drawn", "signature": "<script>"}, "did not arrive whole"),
        ({"signed_how": "typed"}, "Type the name of who signs"),
        ({"no_photo_because": ""}, "Photograph the cover back on"),
    ],
)
def test_a_visit_without_its_proof_is_not_closed(phone, job, changed, words):
    told = {
        "sheet_key": str(uuid.uuid4()),
        "visited_on": TODAY.isoformat(),
        "ground": "dry",
        "cautions_read": "on",
        "removed": "all",
        f"tank-{job.system.tanks.get().pk}-method": "core_sampler",
        "volume_removed": "2700",
        "lid_back_on": "on",
        "signed_how": "nobody",
        "no_photo_because": "Camera broken",
    }
    address = reverse("scheduler:job_sheet", args=[job.public_id])
    page = phone.post(address, {**told, **changed})
    assert page.status_code == 422
    assert words in page.content.decode()
    assert not Visit.objects.exists()
