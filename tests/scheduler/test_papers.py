"""Papers of jobs, letters by the batch, the owner's own papers, and scanned covers."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse
from django.utils import timezone

from customers.models import ContactPreference
from scheduler import letters
from scheduler.job_papers import printed_job_sheet
from scheduler.models import Message
from scheduler.owner_links import owner_url
from servicing.models import LetterBatch, Paper, Visit
from servicing.paper_facts import crew_sheet_facts, issuer_of
from tests.make import make_job, make_organisation, make_person, make_system, make_user
from tests.servicing.test_papers import TODAY, firm, ines, issue_note, issue_record, system, visited

__all__ = ["firm", "ines", "system"]
NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
LONG_AGO = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)


@pytest.fixture
def office(client, ines):
    client.force_login(ines)
    return client


@pytest.fixture
def done(system):
    job = make_job(system, due_on=TODAY, state="done")
    job.visit = visited(system)
    job.save(update_fields=["visit"])
    return job


@pytest.mark.parametrize("kind", ["service_record", "transfer_note"])
def test_a_paper_of_a_visit_is_one_press_away_on_the_job(office, done, kind):
    where = reverse("scheduler:job_paper", args=[done.public_id, kind])
    assert where in office.get(reverse("scheduler:job", args=[done.public_id])).content.decode()
    office.post(where)
    assert Paper.objects.get().kind == kind
    page = office.get(reverse("scheduler:job_recorded", args=[done.public_id])).content.decode()
    assert where not in page
    assert Paper.objects.get().number in page


def test_a_note_that_may_not_be_printed_says_why(office, done):
    done.organisation.carrier_registration = ""
    done.organisation.save()
    where = reverse("scheduler:job_paper", args=[done.public_id, "transfer_note"])
    page = office.post(where).content.decode()
    assert "Not issued yet" in page
    assert "The carrier&#x27;s registration number is not recorded." in page


def test_the_carrier_on_a_note_is_whoever_drove(client, done):
    carrier = make_organisation(
        address="2 Dock", carrier_registration="T-2", carrier_valid_to=dt.date(2028, 1, 1)
    )
    done.handed_to = carrier
    done.save()
    client.force_login(make_user(carrier, "crew", name="Tess"))
    client.post(reverse("scheduler:job_paper", args=[done.public_id, "transfer_note"]))
    paper = Paper.objects.get()
    assert (paper.organisation, paper.facts["carrier"]["name"]) == (carrier, carrier.name)
    assert client.get(reverse("servicing:paper", args=[paper.public_id])).status_code == 200


@pytest.mark.parametrize("code", ["", "hotel", "5630"])
def test_a_business_gets_its_note_with_its_activity_only(office, done, code):
    done.system.occupancies.update(use="bar")
    page = office.get(reverse("scheduler:job", args=[done.public_id])).content
    assert b"SIC code of the customer" in page
    where = reverse("scheduler:job_paper", args=[done.public_id, "transfer_note"])
    office.post(where, {"activity_code": code})
    assert Paper.objects.exists() == (code == "5630")


def test_what_was_typed_for_a_note_is_not_lost(office, done):
    where = reverse("scheduler:job_paper", args=[done.public_id, "transfer_note"])
    response = office.post(where, {"activity_code": "hotel"})
    assert response.status_code == 422
    assert b'value="hotel"' in response.content
    assert b"four or five figures, such as" in response.content


def test_a_job_without_a_visit_has_no_papers_but_a_sheet_to_print(office, system):
    job = make_job(system, due_on=TODAY, state="agreed")
    page = office.post(
        reverse("scheduler:job_paper", args=[job.public_id, "service_record"]), follow=True
    )
    assert b"No visit is recorded" in page.content
    sheet = office.get(reverse("scheduler:job_sheet_file", args=[job.public_id]))
    assert sheet.content.startswith(b"%PDF")


def test_the_gate_code_is_not_printed(system):
    system.premises.gate_code, system.premises.dog = "C4711", True
    system.premises.save()
    told = crew_sheet_facts(system, issuer=issuer_of(system.organisation), work="Emptying")
    assert ("Dog", "yes") in told.access
    assert "4711" not in str(told)
    assert printed_job_sheet(make_job(system, due_on=TODAY), today=TODAY).startswith(b"%PDF")


def letter(system, number, **fields):
    person = fields.pop("person", None) or make_person(
        system.organisation, email="", postal_address="1 Lane\nZZ1 1ZZ"
    )
    told = {
        "template": "offer",
        "channel": "post",
        "person": person,
        "to_name": person.name,
        "to_address": f"{person.name}, 1 Lane ZZ1 1ZZ",
        "subject": f"Your tank {number}",
        "body_text": "Dear Owner,\n\nYour tank is due.",
        "next_try_at": LONG_AGO,
    }
    return Message.objects.create(
        organisation=system.organisation, key=f"letter-{number}", **{**told, **fields}
    )


def gathered(system, by):
    return letters.gather_batch(organisation=system.organisation, by=by, today=TODAY, now=NOW)


def test_waiting_letters_become_one_file_and_are_noted_as_posted(
    office, system, django_capture_on_commit_callbacks
):
    first, second = letter(system, 1), letter(system, 2)
    where = reverse("scheduler:letters")
    assert b"2 letters" in office.get(where).content
    with django_capture_on_commit_callbacks(execute=True):
        office.post(reverse("scheduler:letters_gather"))
    batch = LetterBatch.objects.get()
    assert (batch.state, batch.done) == ("ready", 2)
    file = office.get(reverse("scheduler:letter_file", args=[batch.public_id])).content
    assert max(int(count) for count in re.findall(rb"/Count (\d+)", file)) == 2
    office.post(reverse("scheduler:letters_posted", args=[batch.public_id]))
    assert {Message.objects.get(pk=one.pk).state for one in (first, second)} == {"sent"}
    assert letters.note_batch_posted(batch=batch, by=batch.asked_by, now=NOW) == 0


def test_a_letter_is_in_one_batch_only_until_that_is_thrown_away(system, ines):
    letter(system, 1)
    batch = gathered(system, ines)
    with pytest.raises(letters.NoLetters):
        gathered(system, ines)
    assert letters.throw_away(batch=batch, by=ines, now=NOW)
    assert not letters.throw_away(batch=batch, by=ines, now=NOW)
    assert gathered(system, ines).letters == batch.letters


def test_letters_that_are_no_longer_right_are_left_out_and_noted(system, ines):
    late = letter(system, 1, expires_at=LONG_AGO)
    refuser = make_person(system.organisation, email="")
    ContactPreference.objects.create(
        person=refuser, channel="post", message_class="service", allowed=False,
        recorded_at=NOW, how="told us",
    )  # fmt: skip
    refused, good = letter(system, 2, person=refuser), letter(system, 3)
    batch = gathered(system, ines)
    letters.lay_out(batch.pk)
    batch.refresh_from_db()
    assert batch.letters == [str(good.public_id)]
    states = [Message.objects.get(pk=one.pk).state for one in (late, refused, good)]
    assert states == ["dropped", "dropped", "waiting"]


def test_a_batch_of_which_nothing_is_left_says_so(system, ines):
    letter(system, 1, expires_at=LONG_AGO)
    batch = gathered(system, ines)
    letters.lay_out(batch.pk)
    batch.refresh_from_db()
    assert (batch.state, batch.content) == ("failed", None)


def test_laying_out_twice_is_laying_out_once(system, ines):
    letter(system, 1)
    batch = gathered(system, ines)
    letters.lay_out(batch.pk)
    before = LetterBatch.objects.get(pk=batch.pk)
    letters.lay_out(batch.pk)
    assert LetterBatch.objects.get(pk=batch.pk).changed_at == before.changed_at


def test_a_batch_whose_worker_died_is_taken_up_again(system, ines):
    letter(system, 1)
    batch = gathered(system, ines)
    long_ago = timezone.now() - letters.SILENT_AFTER * 2
    LetterBatch.objects.filter(pk=batch.pk).update(state="working", changed_at=long_ago)
    letters.lay_out(batch.pk)
    batch.refresh_from_db()
    assert batch.state == "ready"


def test_letters_of_the_night_and_of_others_and_mail_are_left_alone(system, ines):
    letter(system, 1, next_try_at=NOW + dt.timedelta(hours=1))
    letter(system, 2, channel="email")
    letter(make_system(), 3)
    with pytest.raises(letters.NoLetters):
        gathered(system, ines)


def test_a_crew_prints_no_letters(system):
    letter(system, 1)
    with pytest.raises(PermissionDenied):
        gathered(system, make_user(system.organisation, "crew"))


def test_an_envelope_gets_the_persons_address_else_the_places(system):
    own = letter(system, 1)
    bare = make_person(system.organisation, email="", postal_address="")
    system.premises.town = "Larkholt"
    place = letter(system, 2, person=bare, job=make_job(system, due_on=TODAY))
    assert letters.address_lines(own) == ("1 Lane", "ZZ1 1ZZ")
    assert letters.address_lines(place) == ("Larkholt", "ZZ1 1ZZ")
    loose = letter(system, 3, person=bare)
    assert letters.address_lines(loose) == ("1 Lane ZZ1 1ZZ",)


def test_the_owners_own_page_is_found_in_a_letter_and_no_other_address(settings):
    settings.SITE_ADDRESS = "https://ebbmark.example"
    text = "See https://other.example/x\n\nhttps://ebbmark.example/place/abc.d_e-f/\nBye"
    assert letters.own_address(text) == "https://ebbmark.example/place/abc.d_e-f/"
    assert letters.own_address("Nothing here.") == ""


def owners_page(system, person):
    return owner_url(premises=system.premises, person=person)


def test_an_owner_finds_the_papers_of_the_place_and_those_that_name_them(client, system, ines):
    visit = visited(system)
    record, note = issue_record(visit, ines), issue_note(visit, ines)
    omar = note.person
    page = client.get(owners_page(system, omar)).content.decode()
    assert record.number in page
    assert note.number in page
    token = owners_page(system, omar).split("/")[2]
    where = reverse("scheduler:owner_paper", args=[token, note.public_id])
    assert client.get(where).content == bytes(note.content)


def test_the_next_owner_gets_the_record_and_not_the_papers_of_the_last(client, system, ines):
    visit = visited(system)
    record, note = issue_record(visit, ines), issue_note(visit, ines)
    buyer = make_person(system.organisation)
    page = client.get(owners_page(system, buyer)).content.decode()
    assert record.number in page
    assert note.number not in page
    token = owners_page(system, buyer).split("/")[2]
    where = reverse("scheduler:owner_paper", args=[token, note.public_id])
    assert client.get(where).status_code == 404


def test_a_link_to_one_place_opens_no_paper_of_another(client, system, ines):
    elsewhere = make_system(system.organisation)
    record = issue_record(visited(elsewhere), ines)
    token = owners_page(system, make_person(system.organisation)).split("/")[2]
    where = reverse("scheduler:owner_paper", args=[token, record.public_id])
    assert client.get(where).status_code == 404


def test_a_crew_that_scans_a_cover_gets_the_sheet_of_the_open_job(client, system):
    job = make_job(system, due_on=TODAY, state="agreed")
    client.force_login(make_user(system.organisation, "crew", name="Tess"))
    response = client.get(reverse("scheduler:lid", args=[system.public_id]))
    assert response.url == reverse("scheduler:job_sheet", args=[job.public_id])


def test_the_office_that_scans_a_cover_without_a_job_gets_the_system(office, system):
    response = office.get(reverse("scheduler:lid", args=[system.public_id]))
    assert response.url == reverse("servicing:system", args=[system.public_id])


@pytest.mark.parametrize("signed_in", [True, False])
def test_a_stranger_who_scans_a_cover_learns_whom_to_ring_and_no_more(client, system, signed_in):
    system.organisation.phone = "01632 960001"
    system.organisation.save()
    if signed_in:
        client.force_login(make_user(make_organisation(), name="Sid"))
    page = client.get(reverse("scheduler:lid", args=[system.public_id])).content.decode()
    assert "01632 960001" in page
    assert "Please do not lift the cover" in page
    for secret in (system.reference, str(system.premises), system.premises.postcode, "Omar"):
        assert secret not in page


def test_a_cover_nobody_knows_opens_nothing(client, db):
    where = reverse("scheduler:lid", args=["00000000-0000-4000-8000-000000000000"])
    assert client.get(where).status_code == 404


def test_visits_keep_their_papers(system, ines):
    paper = issue_record(visited(system), ines)
    assert list(Visit.objects.get(pk=paper.visit_id).papers.all()) == [paper]
