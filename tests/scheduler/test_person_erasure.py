"""Petra's data are given to her and erased: no column still holds her name."""

import datetime as dt
import json

import pytest
from django.core.exceptions import PermissionDenied
from django.core.files.base import ContentFile
from django.db.models import CharField, JSONField, TextField
from django.urls import reverse

from customers.erasing import words_of
from customers.models import OwnerLink, Party, Person, Removal, Suppression
from customers.record_paths import own_models
from scheduler.messages.consent import Question, why_not
from scheduler.models import Delivery, Message
from scheduler.owner_links import owner_url
from scheduler.person_data import person_sections
from scheduler.person_erasure import ErasureRefused, erase_person, why_not_yet
from servicing.importers.uploads import keep_upload
from servicing.models import Paper
from servicing.retention import let_go_of_papers, past_papers
from tests.make import make_organisation, make_person, make_system, make_user
from tests.scheduler.traces import EMAIL, NAME, NOW, PHONE, STROKES, TODAY, left

pytestmark = pytest.mark.django_db
TRACES = (NAME, EMAIL, PHONE, "01632960222", json.dumps(NAME)[1:-1])


@pytest.fixture(autouse=True)
def _clock(time_machine, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def firm():
    return make_organisation(name="Firm")


@pytest.fixture
def ines(firm):
    return make_user(firm)


@pytest.fixture
def petra(firm):
    return make_person(firm, name=NAME, email=EMAIL, phone=PHONE, notes="Petra Ålund, rings late")


def paper_for(petra, system, *, year):
    return Paper.objects.create(
        organisation=petra.organisation,
        kind="transfer_note",
        year=year,
        sequence=1,
        issued_on=dt.date(year, 6, 1),
        premises=system.premises,
        person=petra,
        facts={"transferor": NAME},
        content=b"%PDF Petra",
        sha256="0" * 64,
    )


def erased(petra, ines):
    return erase_person(person=petra, because="By letter of 3 May", by=ines, now=NOW, today=TODAY)


def where_still_held(spare=()):
    """Every text column of every model of ours in which a trace stands."""
    found = []
    for model in own_models():
        if model in spare:
            continue
        for row in model._base_manager.all():
            for field in model._meta.concrete_fields:
                if not isinstance(field, CharField | TextField | JSONField):
                    continue
                value = getattr(row, field.attname)
                text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
                if any(trace.casefold() in text.casefold() for trace in TRACES):
                    found.append(f"{model.__name__}.{field.name}")
    return found


def test_the_walk_finds_what_is_there(petra):
    left(petra)
    assert len(set(where_still_held())) > 40


def test_no_column_still_holds_name_address_or_number(petra, ines):
    left(petra)
    erased(petra, ines)
    assert where_still_held() == []


def test_what_telephones_sent_keeps_neither_name_nor_signature(petra, ines):
    left(petra)
    assert {"Delivery.contents", "Delivery.answer", "Delivery.why"} <= set(where_still_held())
    erased(petra, ines)
    contents = Delivery.objects.get().contents
    assert STROKES not in json.dumps(contents)
    assert dict(contents["fields"])["signed_by"] == "[erased]"
    assert dict(contents["fields_as_sent"])["signature"] == ""
    assert dict(contents["fields"])["signed_how"] == "drawn"


def test_papers_stay_for_their_years_and_are_named_to_the_office(petra, ines):
    paper = paper_for(petra, left(petra), year=2024)
    removal = erased(petra, ines)
    kept = {one["what"]: one["until"] for one in removal.kept}
    assert kept[str(paper)] == "2030-06-01"
    assert set(where_still_held()) == {"Paper.facts"}
    paper.refresh_from_db()
    assert bytes(paper.content) == b"%PDF Petra"


def test_a_paper_past_its_years_goes_and_no_other(petra, firm):
    system = left(petra)
    old, new = paper_for(petra, system, year=2019), paper_for(petra, system, year=2024)
    assert let_go_of_papers(past_papers(firm, TODAY)) == 1
    assert list(Paper.objects.values_list("pk", flat=True)) == [new.pk]
    assert old.pk != new.pk


def test_a_paper_named_by_a_younger_one_stays_with_it(petra, firm):
    system = left(petra)
    old = paper_for(petra, system, year=2019)
    Paper.objects.create(
        organisation=firm,
        kind="transfer_note",
        year=2024,
        sequence=2,
        issued_on=dt.date(2024, 1, 1),
        premises=system.premises,
        replaces=old,
        because="Wrong volume",
        facts={},
        content=b"",
        sha256="0" * 64,
    )
    assert let_go_of_papers(past_papers(firm, TODAY)) == 0


def test_who_did_it_and_when_is_kept_and_twice_changes_nothing(petra, ines):
    left(petra)
    first = erased(petra, ines)
    assert (first.done_by, first.done_at) == (ines, NOW)
    assert erased(petra, ines) == first
    assert Removal.objects.count() == 1
    assert first.removed["messages"] == 1


def test_links_end_and_nobody_writes_to_the_address_again(client, petra, ines):
    place = left(petra).premises
    link = owner_url(premises=place, person=petra)
    erased(petra, ines)
    assert client.get(link).status_code == 410
    assert not OwnerLink.objects.filter(revoked_at=None).exists()
    assert Suppression.objects.filter(message_class="marketing").count() == 1


def test_the_address_is_known_again_by_its_fingerprint(petra, ines):
    left(petra)
    erased(petra, ines)
    asked = Question(
        organisation=petra.organisation,
        person=None,
        address=EMAIL.upper(),
        channel="email",
        message_class="marketing",
    )
    assert why_not(asked) == "This address asked not to be written to."


def test_whoever_still_belongs_to_a_place_is_not_erased(petra, ines, firm):
    place = make_system(firm).premises
    Party.objects.create(premises=place, person=petra, role="owner")
    with pytest.raises(ErasureRefused, match="owner of"):
        erased(petra, ines)
    assert Person.objects.get(pk=petra.pk).name == NAME


def test_a_cancellation_goes_out_before_the_address_goes(petra, ines, firm):
    Message.objects.create(
        organisation=firm,
        key="x",
        template="cancellation",
        person=petra,
        to_address=EMAIL,
        subject="s",
        body_text="b",
        next_try_at=NOW,
        calendar_method="CANCEL",
    )
    assert "has not gone out yet" in why_not_yet(petra, TODAY)[0]


def test_what_somebody_else_has_too_is_left_alone_and_said(petra, ines, firm):
    make_person(firm, name="Nils Ålund", email="nils@home.example", phone=PHONE)
    other = make_system(firm, notes=f"Nils is at {PHONE}")
    assert words_of(petra).shared == (PHONE,)
    removal = erased(petra, ines)
    other.refresh_from_db()
    assert PHONE in other.notes
    assert any("look them through by hand" in one["why"] for one in removal.kept)


def test_a_name_of_one_word_goes_only_where_it_stands_alone(firm, ines):
    miller = make_person(firm, name="Miller", email="", phone="")
    system = make_system(firm, notes="By Miller Lane", lid_note="Miller")
    erased(miller, ines)
    system.refresh_from_db()
    assert (system.notes, system.lid_note) == ("By Miller Lane", "[erased]")


def test_another_firm_keeps_what_it_wrote(petra, ines):
    left(petra)
    other = make_system(make_organisation(), notes=f"{NAME}, {PHONE}")
    erased(petra, ines)
    other.refresh_from_db()
    assert NAME in other.notes


def test_lists_that_wait_to_be_brought_in_go(petra, ines, firm):
    sheet = ContentFile(f"name\n{NAME}\n".encode())
    upload = keep_upload(
        organisation=firm, name="l.csv", size=sheet.size, chunks=sheet.chunks(), by="Ines", now=NOW
    )
    removal = erased(petra, ines)
    assert not upload.folder.exists()
    assert removal.removed["lists waiting to be brought in"] == 1


def test_only_who_runs_the_organisation_may_erase(petra, firm):
    with pytest.raises(PermissionDenied):
        erased(petra, make_user(firm, "planner"))


# --- The right to know ---


def test_what_is_held_is_whole_and_for_machines(client, petra, ines):
    left(petra)
    client.force_login(ines)
    file = client.get(reverse("scheduler:person_data_file", args=[petra.public_id])).json()
    assert file["format"] == "ebbmark-person-1"
    held = file["held"]
    assert held["who"][0]["telephone"] == PHONE
    assert held["messages"][0]["words"] == f"Hello {NAME}"
    full = {"who", "places", "allowed", "messages", "calendar", "told", "calls", "visits"}
    assert all(held[key] for key in full | {"agreements", "links", "sales"})
    assert len(person_sections(petra, TODAY)) == len(held)


def test_the_office_erases_by_its_page(client, petra, ines):
    left(petra)
    client.force_login(ines)
    page = reverse("scheduler:person_erase", args=[petra.public_id])
    assert client.post(page, {"because": "x"}).status_code == 200
    assert Person.objects.get(pk=petra.pk).name == NAME
    shown = client.post(page, {"because": "By letter", "sure": "on"}, follow=True)
    assert "Erased on" in shown.content.decode()
    assert NAME not in shown.content.decode()


def test_a_crew_does_not_see_what_is_held(client, petra, firm):
    client.force_login(make_user(firm, "crew"))
    page = reverse("scheduler:person_data", args=[petra.public_id])
    assert client.get(page).status_code == 403
