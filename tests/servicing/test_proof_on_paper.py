"""A service record says who signed and shows the cover back on, as it was when it was issued."""

import datetime as dt
import hashlib
import shutil
import subprocess

import pytest

from servicing import paper_drafts
from servicing.documents import Stamp, service_record
from servicing.paper_facts.proof import photos_words, signed_words
from tests.make import make_organisation, make_photo, make_system, make_user
from tests.servicing.documents.test_typesetting import streams
from tests.servicing.test_papers import TODAY, issue_record, visited

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _files(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "kept"


@pytest.fixture
def system():
    return make_system(make_organisation())


@pytest.fixture
def ines(system):
    return make_user(system.organisation)


def signed_visit(system, **fields):
    return visited(system, **{"signed_how": "drawn", "signed_by": "Omar", **fields})


def test_the_facts_say_who_signed_and_name_the_photograph_by_its_digest(system, ines):
    visit = signed_visit(system)
    make_photo(visit, kind="found")
    photo = make_photo(visit)
    paper = issue_record(visit, ines)
    assert paper.facts["signed"] == "by Omar, on the screen, on 20 November 2026"
    assert paper.facts["photos"] == (
        "2 photographs kept, taken on 20 November 2026; the cover back on is shown"
    )
    assert paper.facts["cover_back"] is True
    with photo.image.open("rb") as file:
        assert paper.facts["photo_sha256"] == hashlib.sha256(file.read()).hexdigest()
    assert paper.facts["cover_photo"] == {
        "alt": "Photograph of 20 November 2026: the cover back on"
    }
    assert "base64" not in str(paper.facts)


def test_the_photograph_is_on_the_paper_with_its_words(system, ines, tmp_path):
    visit = signed_visit(system)
    without = bytes(issue_record(signed_visit(system), ines).content)
    make_photo(visit)
    content = bytes(issue_record(visit, ines).content)
    # Alternative words of a figure stand under /Alt (ISO 32000-1, 14.9.3).
    assert b"/Alt(Photograph of 20 November 2026: the cover back on)" in streams(content)
    assert jpegs_in(content, tmp_path) == jpegs_in(without, tmp_path) + 1


def jpegs_in(content, tmp_path):
    """Pictures in a PDF that are photographs, by poppler's pdfimages."""
    tool = shutil.which("pdfimages")
    if tool is None:
        pytest.skip("pdfimages (poppler-utils) is not installed")
    file = tmp_path / "paper.pdf"
    file.write_bytes(content)
    told = subprocess.run([tool, "-list", str(file)], capture_output=True, check=True).stdout
    return told.decode().count(" jpeg ")


def test_the_same_facts_are_the_same_bytes(system):
    visit = signed_visit(system)
    make_photo(visit)
    drafts = [
        paper_drafts.service_record_draft(visit=visit, organisation=visit.organisation, today=TODAY)
        for _ in range(2)
    ]
    stamp = Stamp(number="2026-00001", issued_on=TODAY)
    first, second = (service_record(draft.facts, stamp) for draft in drafts)
    assert first == second


def test_an_issued_record_stays_when_a_photograph_comes_later(system, ines):
    visit = signed_visit(system)
    paper = issue_record(visit, ines)
    make_photo(visit)
    again = issue_record(visit, ines)
    assert again == paper
    assert again.facts["photo_sha256"] == ""


def test_a_photograph_whose_file_is_missing_does_not_keep_the_record_back(system, ines):
    visit = signed_visit(system)
    photo = make_photo(visit)
    photo.image.storage.delete(photo.image.name)
    paper = issue_record(visit, ines)
    assert paper.facts["cover_photo"] is None
    assert paper.facts["photos"].startswith("1 photograph kept")


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"signed_how": "typed"}, "by Omar, by typing the name, on 20 November 2026"),
        (
            {"signed_by": ""},
            "by somebody who gave no name, on the screen, on 20 November 2026",
        ),
        (
            {"signed_how": "nobody", "signed_by": ""},
            "by nobody: nobody was at home on 20 November 2026",
        ),
        ({"signed_how": "", "signed_by": ""}, ""),
    ],
)
def test_how_it_was_signed_is_said(system, told, words):
    assert signed_words(signed_visit(system, **told)) == words


def test_why_there_is_no_photograph_is_said(system):
    assert photos_words(signed_visit(system)) == ""
    assert photos_words(signed_visit(system, no_photo_because="Camera wet")) == "none: Camera wet"
    visit = signed_visit(system, no_photo_because="Camera wet")
    make_photo(visit, kind="found", taken_at=dt.datetime(2026, 11, 20, 9, tzinfo=dt.UTC))
    assert photos_words(visit) == (
        "1 photograph kept, taken on 20 November 2026; none of the cover back on: Camera wet"
    )
