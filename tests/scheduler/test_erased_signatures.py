"""Petra's signatures are erased wherever they lie; photographs of covers stay, and it is said."""

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from scheduler.models import Delivery
from scheduler.person_erasure import erase_person
from servicing.models import Visit, VisitPhoto
from tests.make import make_organisation, make_person, make_user
from tests.scheduler.traces import EMAIL, NAME, NOW, PHONE, STROKES, TODAY, left

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(time_machine, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def petra():
    return make_person(make_organisation(name="Firm"), name=NAME, email=EMAIL, phone=PHONE)


@pytest.fixture
def ines(petra):
    return make_user(petra.organisation)


def erased(petra, ines):
    return erase_person(person=petra, because="By letter", by=ines, now=NOW, today=TODAY)


@pytest.mark.parametrize(
    ("signed_by", "visited_on", "stays"),
    [
        (f"Mrs {NAME}", dt.date(2026, 12, 1), False),
        ("", dt.date(2026, 10, 1), False),
        ("", dt.date(2026, 11, 20), True),
        ("Nils Holm", dt.date(2026, 10, 1), True),
    ],
)
def test_a_signature_of_hers_goes_and_no_other(petra, ines, signed_by, visited_on, stays):
    system = left(petra)
    visit = Visit.objects.create(
        organisation=petra.organisation,
        system=system,
        visited_on=visited_on,
        lid_back_on=True,
        signed_how="drawn",
        signed_by=signed_by,
        signature=STROKES,
    )
    sent = Delivery.objects.create(
        organisation=make_organisation(),
        key=uuid.uuid4(),
        kind="sheet",
        sheet_key=visit.sheet_key,
        made_at=NOW,
        contents={"fields": [["signature", STROKES]]},
        state="taken",
        visit=visit,
    )
    erased(petra, ines)
    visit.refresh_from_db()
    sent.refresh_from_db()
    kept = STROKES if stays else ""
    assert visit.signature == kept
    assert {row.signature for row in visit.history.all()} == {kept}
    assert sent.contents == {"fields": [["signature", kept]]}


def test_photographs_of_covers_stay_and_the_office_is_told(client, petra, ines):
    system = left(petra)
    photo = VisitPhoto.objects.create(
        organisation=petra.organisation,
        system=system,
        sheet_key=uuid.uuid4(),
        kind="lid_back",
        width=1,
        height=1,
        taken_at=NOW,
        taken_for=petra.organisation,
    )
    client.force_login(ines)
    page = client.get(reverse("scheduler:person_erase", args=[petra.public_id]))
    assert "Photographs of covers" in page.content.decode()
    removal = erased(petra, ines)
    assert any("Photographs of covers" in one["what"] for one in removal.kept)
    assert VisitPhoto.objects.get() == photo
