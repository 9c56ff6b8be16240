"""Where the office reads what crews sent and says what stands."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from scheduler import booking
from scheduler.delivered_sheets import seen_of
from scheduler.deliveries import Told, take_delivery
from scheduler.models import Delivery, Job
from servicing.models import Visit
from tests.make import make_job, make_organisation, make_system, make_user

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 25, 15, tzinfo=dt.UTC)
TODAY = NOW.date()


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def installer():
    return make_organisation()


@pytest.fixture
def ines(installer):
    return make_user(installer, name="Ines")


@pytest.fixture
def waiting(installer, ines):
    """Tess's sheet of a job that was withdrawn while she had no signal, her clock an hour ahead."""
    tess = make_user(installer, "crew", name="Tess")
    job = make_job(make_system(installer), due_on=TODAY, state=Job.State.AGREED)
    seen, sheet_key = seen_of(job, tess), uuid.uuid4()
    fields = {
        "sheet_key": str(sheet_key),
        "visited_on": TODAY.isoformat(),
        "ground": "saturated",
        "cautions_read": "on",
        "removed": "all",
        "volume_removed": "2700",
        "refilled_with_water": "on",
        "lid_back_on": "on",
        "no_photo_because": "Camera broken",
        "signed_how": "nobody",
        f"tank-{job.system.tanks.get().pk}-method": "core_sampler",
    }
    booking.withdraw(job=job, because="House sold", by=ines, now=NOW)
    told = Told(
        key=uuid.uuid4(),
        kind="sheet",
        made_at=NOW,
        sent_at=NOW + dt.timedelta(hours=1),
        job=job,
        fields=[[name, value] for name, value in fields.items()],
        seen=seen,
        sheet_key=sheet_key,
    )
    return take_delivery(told=told, by=tess, now=NOW)


def test_the_desk_says_that_something_waits(client, ines, waiting):
    client.force_login(ines)
    assert "1 entry of a crew to settle" in client.get(reverse("scheduler:desk")).content.decode()
    page = client.get(reverse("scheduler:deliveries")).content.decode()
    assert "This job is withdrawn already" in page
    assert "Clock was wrong" in page


def test_what_was_sent_is_shown_in_the_sheets_own_words(client, ines, waiting):
    client.force_login(ines)
    page = client.get(reverse("scheduler:delivery", args=[waiting.public_id])).content.decode()
    for words in ("Saturated", "All of it", "2700", "Nobody: nobody is at home", "Camera broken"):
        assert words in page
    assert "clock was 1 h 0 min ahead" in page
    assert str(waiting.sheet_key) not in page


def test_settling_records_it_once(client, ines, waiting):
    client.force_login(ines)
    address = reverse("scheduler:delivery_settle", args=[waiting.public_id])
    assert client.post(address, {"how": "beside", "words": "Rang Tess"}).status_code == 302
    assert client.post(address, {"how": "beside"}).status_code == 422
    assert Visit.objects.count() == 1
    waiting.refresh_from_db()
    assert (waiting.state, waiting.settled_by) == (Delivery.State.TAKEN, ines)
    page = client.get(reverse("scheduler:delivery", args=[waiting.public_id])).content.decode()
    assert "Rang Tess" in page


def test_another_firm_sees_nothing_of_it(client, waiting):
    client.force_login(make_user(make_organisation()))
    assert client.get(reverse("scheduler:delivery", args=[waiting.public_id])).status_code == 404
    assert "withdrawn" not in client.get(reverse("scheduler:deliveries")).content.decode()
