"""Job sheets and run sheets under numbers, the works on a note, and the papers of a register."""

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from scheduler.job_papers import issue_for_job, issue_job_sheet
from scheduler.models import Tip, WorksWasteCode
from scheduler.round_papers import issue_run_sheet
from scheduler.round_sheets import sheet_of
from servicing.models import Emptying, Paper
from servicing.paper_drafts import PaperRefused
from tests.make import (
    make_crew,
    make_job,
    make_organisation,
    make_round,
    make_stop,
    make_tanker,
    make_user,
    make_works,
)
from tests.servicing.documents.conftest import read, scan
from tests.servicing.test_papers import TODAY, firm, ines, issue_record, system, visited

__all__ = ["firm", "ines", "read", "scan", "system"]


@pytest.fixture
def office(client, ines):
    client.force_login(ines)
    return client


@pytest.fixture
def job(system):
    return make_job(system, due_on=TODAY, state="agreed")


@pytest.fixture
def planned(system, job):
    tanker = make_tanker(system.organisation)
    planned = make_round(
        system.organisation, make_crew(system.organisation), day=TODAY, tanker=tanker
    )
    make_stop(planned, job=job)
    return planned


def test_a_job_sheet_is_issued_once_and_again_when_the_work_has_changed(job, ines):
    first = issue_job_sheet(job=job, by=ines, today=TODAY)
    assert issue_job_sheet(job=job, by=ines, today=TODAY) == first
    job.notes = "Bring the long hose"
    second = issue_job_sheet(job=job, by=ines, today=TODAY)
    assert (second.replaces, second.number) == (first, "2026-00002")
    assert list(Paper.objects.standing()) == [second]


def test_a_job_sheet_carries_its_number_and_a_code_to_check_it(job, ines, read, scan):
    paper = issue_job_sheet(job=job, by=ines, today=TODAY)
    assert f"Number {paper.number}" in read(bytes(paper.content))
    assert scan(bytes(paper.content))[0].endswith(
        reverse("servicing:paper_check", args=[paper.token])
    )


def test_a_closed_job_has_no_sheet_to_take_along(job, ines):
    job.state = "withdrawn"
    with pytest.raises(PaperRefused):
        issue_job_sheet(job=job, by=ines, today=TODAY)


def test_a_run_sheet_is_numbered_with_the_other_papers(planned, job, ines, read):
    issue_job_sheet(job=job, by=ines, today=TODAY)
    paper = issue_run_sheet(sheet=sheet_of(planned), by=ines, today=TODAY)
    assert (paper.number, paper.premises, paper.about) == ("2026-00002", None, planned.public_id)
    assert str(job.system.premises) in read(bytes(paper.content))


def test_a_run_sheet_changed_since_names_the_old(planned, job, ines):
    first = issue_run_sheet(sheet=sheet_of(planned), by=ines, today=TODAY)
    make_stop(planned, works=make_works(planned.organisation))
    second = issue_run_sheet(sheet=sheet_of(planned), by=ines, today=TODAY)
    assert (second.replaces, second.because) == (
        first,
        "What is known of the work has changed since.",
    )


def test_a_round_nobody_accepted_has_no_run_sheet(planned, ines):
    planned.accepted_at = None
    with pytest.raises(PaperRefused, match="accept it before"):
        issue_run_sheet(sheet=sheet_of(planned), by=ines, today=TODAY)


def test_a_reader_issues_no_sheet(planned, job):
    reader = make_user(job.organisation, "reader")
    with pytest.raises(PermissionDenied):
        issue_job_sheet(job=job, by=reader, today=TODAY)
    with pytest.raises(PermissionDenied):
        issue_run_sheet(sheet=sheet_of(planned), by=reader, today=TODAY)


def test_sheets_of_crews_are_no_papers_for_owners(job, system, ines):
    paper = issue_job_sheet(job=job, by=ines, today=TODAY)
    assert paper not in Paper.objects.for_owner(None)


def test_both_are_one_press_away_and_then_named(office, planned, job):
    for name, of, page in (
        ("scheduler:job_sheet_issue", job, "scheduler:job"),
        ("scheduler:run_sheet_issue", planned, "scheduler:round"),
    ):
        where = reverse(name, args=[of.public_id])
        assert where in office.get(reverse(page, args=[of.public_id])).content.decode()
        paper = office.post(where, follow=True)
        assert paper.status_code == 200
        number = Paper.objects.latest("pk").number
        assert number in office.get(reverse(page, args=[of.public_id])).content.decode()


def test_a_note_names_the_works_its_permit_and_its_own_code(system, ines):
    works = make_works(system.organisation, name="Low Works", permit_number="EPR/TEST 1")
    WorksWasteCode.objects.create(
        works=works, system_kind=system.kind, code="19 08 05", valid_from=dt.date(2026, 1, 1)
    )
    job = make_job(system, due_on=TODAY, state="done", visit=visited(system))
    Emptying.objects.filter(visit=job.visit).update(tipped_at="Low Works", tip_ticket="T-1")
    job.visit.emptying.refresh_from_db()
    paper = issue_for_job(job=job, kind="transfer_note", by=ines, today=TODAY)
    note = paper.facts
    assert (note["destination"], note["destination_permit"]) == ("Low Works", "EPR/TEST 1")
    assert (note["waste"]["code"], note["waste"]["code_is_law"]) == ("19 08 05", False)
    assert not Tip.objects.exists()


def test_the_activity_kept_with_a_place_stands_on_its_notes(system, ines):
    system.premises.activity_code = "56302"
    system.premises.save()
    job = make_job(system, due_on=TODAY, state="done", visit=visited(system))
    paper = issue_for_job(job=job, kind="transfer_note", by=ines, today=TODAY)
    assert paper.facts["activity_code"] == "56302"


# --- The papers of a register ---


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, 2),
        ({"words": "2026-00001"}, 1),
        ({"words": "00002"}, 1),
        ({"kind": "job_sheet"}, 1),
        ({"kind": "season_ticket"}, 0),
        ({"state": "replaced"}, 0),
        ({"state": "standing"}, 2),
        ({"first": "2026-11-26"}, 0),
        ({"last": "2026-11-25", "first": "not a day"}, 2),
        ({"words": "nowhere"}, 0),
    ],
)
def test_papers_are_found_by_number_place_kind_and_day(office, job, ines, asked, found):
    issue_job_sheet(job=job, by=ines, today=TODAY)
    issue_record(visited(job.system), ines)
    page = office.get(reverse("servicing:paper_list"), asked)
    assert len(page.context["page"].object_list) == found


def test_papers_are_found_by_the_place(office, job, ines):
    issue_job_sheet(job=job, by=ines, today=TODAY)
    for words in (job.system.premises.name, job.system.reference, job.system.premises.postcode):
        page = office.get(reverse("servicing:paper_list"), {"words": words})
        assert len(page.context["page"].object_list) == 1


def test_another_firm_finds_none_of_them(client, job, ines):
    issue_job_sheet(job=job, by=ines, today=TODAY)
    client.force_login(make_user(make_organisation()))
    assert not client.get(reverse("servicing:paper_list")).context["page"].object_list
