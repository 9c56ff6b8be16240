"""Pages that bring a list in: file, columns, what it would do, doing it, and who may."""

import datetime as dt
import io
import os
import re

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from customers.models import Membership
from servicing.importers.uploads import clear_away, find_upload, keep_upload
from servicing.models import System, Tank
from tests.make import make_organisation, make_user

pytestmark = pytest.mark.django_db
LIST = (
    "Ref,Type,House,Postcode,Size (gal),Last emptied\n"
    "A1,septic tank,Nant Farm,LD1 5AA,1000,15/03/2021\n"
    "A2,cesspool,Mill,LD1 5AB,4000,\n"
    "A3,septic tank,Barn,LD1 5AA,-5,1/1/2031\n"
)


@pytest.fixture(autouse=True)
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"


@pytest.fixture
def organisation():
    return make_organisation(slug="larkholt")


@pytest.fixture
def ines(client, organisation):
    user = make_user(organisation)
    client.force_login(user)
    return user


def sent(client, content=LIST, name="old.csv"):
    content = content if isinstance(content, bytes) else content.encode()
    return client.post(reverse("servicing:import"), {"file": SimpleUploadedFile(name, content)})


def page(name, upload):
    return reverse(f"servicing:{name}", args=[upload.token])


def uploaded(client, organisation, content=LIST, name="old.csv"):
    token = re.search(r"import/([0-9a-f-]{36})/", sent(client, content, name).url)[1]
    return find_upload(organisation, token)


def answers_of(client, upload, **changes):
    form = client.get(page("import_columns", upload)).context["form"]
    return {field.name: field.value() or "" for field in form} | changes


def answered(client, upload, **changes):
    said = answers_of(client, upload, **changes)
    return client.post(page("import_columns", upload), said, follow=True)


def test_list_goes_from_file_to_register(client, ines, organisation):
    upload = uploaded(client, organisation)
    check = answered(client, upload)
    assert check.context["survey"]["added"] == 2
    assert not System.objects.exists()
    result = client.post(page("import_bring_in", upload), follow=True)
    assert result.context["upload"].state.counts["added"] == 2
    assert set(System.objects.values_list("reference", flat=True)) == {"A1", "A2"}
    assert System.objects.filter(forecast__isnull=False).count() == 2


def test_workbook_comes_in_with_its_sheet_chosen(client, ines, organisation):
    book = openpyxl.Workbook()
    book.active.title = "Sold"
    book.active.append(["Ref", "Type", "House"])
    other = book.create_sheet("Installed")
    for row in (["Ref", "Kind", "House"], ["B1", "septic", "Mill"], ["B2", "septic", "=1+1"]):
        other.append(row)
    content = io.BytesIO()
    book.save(content)
    upload = uploaded(client, organisation, content.getvalue(), "list.xlsx")
    answered(client, upload, worksheet="Installed")
    survey = answered(client, upload, worksheet="Installed").context["survey"]
    assert (survey["added"], survey["refused"]) == (1, 1)
    assert "formula whose result was not saved" in survey["refusals"][0]["errors"][0]["reason"]


def test_check_says_what_is_refused_with_line_column_and_reason(client, ines, organisation):
    html = answered(client, uploaded(client, organisation)).content.decode()
    assert "Line 4" in html
    assert "Size (gal)" in html
    assert "a volume of -5 is impossible" in html
    assert "01/01/2031 lies in the future" in html


def test_columns_are_guessed_and_can_be_put_right(client, ines, organisation):
    upload = uploaded(client, organisation)
    said = answers_of(client, upload)
    assert (said["column_0"], said["column_4"]) == ("reference", "volume:gallons")
    answered(client, upload, column_4="volume:us_gallons")
    client.post(page("import_bring_in", upload))
    assert Tank.objects.get(system__reference="A1").working_volume_litres == pytest.approx(3785.4)


def test_gallons_follow_the_answer(client, ines, organisation):
    upload = uploaded(client, organisation)
    answered(client, upload, gallon="us_gallons")
    client.post(page("import_bring_in", upload))
    assert Tank.objects.get(system__reference="A1").working_volume_litres == pytest.approx(3785.4)


def test_meaning_given_twice_is_refused_at_the_column_and_nothing_is_lost(
    client, ines, organisation
):
    upload = uploaded(client, organisation)
    answer = answered(client, upload, column_5="reference", gallon="us_gallons")
    form = answer.context["form"]
    assert form.errors["column_5"] == ["“Reference” is given to the column “Ref” already."]
    assert form["gallon"].value() == "us_gallons"


def test_refused_rows_can_be_fetched_and_brought_in_corrected(client, ines, organisation):
    upload = uploaded(client, organisation)
    answered(client, upload)
    client.post(page("import_bring_in", upload))
    answer = client.get(page("import_refused", upload))
    assert answer["Content-Disposition"] == 'attachment; filename="old-refused.csv"'
    corrected = answer.content.replace(b"-5,1/1/2031", b"600,1/1/2025")
    again = uploaded(client, organisation, corrected, "old-refused.csv")
    assert answered(client, again).context["survey"]["added"] == 1


def test_list_is_brought_in_once_however_often_the_button_is_pressed(client, ines, organisation):
    upload = uploaded(client, organisation)
    answered(client, upload)
    for _ in range(2):
        client.post(page("import_bring_in", upload))
    assert System.objects.count() == System.history.count() == 2


def test_changes_are_taken_only_when_ticked(client, ines, organisation):
    for content, said in (
        (LIST, {}),
        (LIST.replace("2021", "2023"), {}),
        (LIST.replace("2021", "2024"), {"take_changes": "yes"}),
    ):
        upload = uploaded(client, organisation, content)
        answered(client, upload)
        client.post(page("import_bring_in", upload), said)
    assert System.objects.get(reference="A1").last_emptied_on == dt.date(2024, 3, 15)
    days = list(System.history.filter(reference="A1").values_list("last_emptied_on", flat=True))
    assert days == [dt.date(2024, 3, 15), dt.date(2021, 3, 15)]


def test_long_list_is_left_to_a_worker(client, ines, organisation, monkeypatch):
    monkeypatch.setattr("servicing.importers.uploads.SMALL_BYTES", 10)
    upload = uploaded(client, organisation)
    answered(client, upload)
    client.post(page("import_bring_in", upload))
    assert client.get(page("import_progress", upload)).json() == {
        "working": False, "rows": 3, "rows_behind": 3, "stage": "finished",
    }  # fmt: skip
    assert System.objects.count() == 2


def test_progress_is_shown_while_a_worker_is_busy(client, ines, organisation):
    upload = uploaded(client, organisation)
    upload.state.stage, upload.state.rows, upload.state.rows_behind = "writing", 900, 500
    upload.save()
    html = client.get(page("import_result", upload)).content.decode()
    assert '<progress max="900" value="500"' in html
    assert client.get(page("import_progress", upload)).json()["working"]


def test_work_that_was_lost_with_its_worker_can_be_tried_again(client, ines, organisation):
    upload = uploaded(client, organisation)
    answered(client, upload)
    upload = find_upload(organisation, upload.token)
    upload.claim()
    upload.state.stage = "writing"
    upload.save()
    an_hour_ago = timezone.now().timestamp() - 3600
    os.utime(upload.folder / "state.json", (an_hour_ago, an_hour_ago))
    assert "was not brought in" in client.get(page("import_result", upload)).content.decode()
    answered(client, upload)
    client.post(page("import_bring_in", upload))
    assert System.objects.count() == 2


def test_failure_while_writing_is_said_and_leaves_nothing(client, ines, organisation, monkeypatch):
    upload = uploaded(client, organisation)
    answered(client, upload)

    def broken(*_args, **_kwargs):
        raise RuntimeError

    monkeypatch.setattr("servicing.importers.bringing_in._use", broken)
    monkeypatch.setattr("servicing.importers.bringing_in._chambers", broken)
    html = client.post(page("import_bring_in", upload), follow=True).content.decode()
    assert "Something went wrong on our side. Nothing of it was written." in html
    assert not System.objects.exists()


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "The file is empty."),
        (b"%PDF-1.7", "This is not a list"),
        (b"PK\x03\x04broken", "The workbook is damaged"),
        (b"one,two\n1,2\n", "No row of headings"),
        (b"Ref\n" + b"x" * 21_000_000, "at most 20 MB"),
    ],
)
def test_what_is_no_list_is_refused_at_the_field_and_not_kept(
    client, ines, settings, content, reason
):
    answer = sent(client, content)
    assert reason in answer.context["form"].errors["file"][0]
    assert not list(settings.MEDIA_ROOT.glob("lists/*/*"))


def test_no_file_is_said_at_the_field(client, ines):
    answer = client.post(reverse("servicing:import"))
    assert answer.context["form"].errors["file"] == ["Choose a file first."]


def test_other_encoding_asks_for_the_columns_anew(client, ines, organisation):
    upload = uploaded(client, organisation, LIST.replace("Nant", "Lôn").encode("cp850"))
    answer = answered(client, upload, encoding="cp850")
    assert answer.resolver_match.view_name == "servicing:import_columns"
    assert "Lôn Farm" in answer.content.decode()
    assert answered(client, upload).context["survey"]["added"] == 2


def test_impossible_encoding_is_said_and_taken_back(client, ines, organisation):
    upload = uploaded(client, organisation, LIST.replace("Nant", "Lôn").encode("cp850"))
    html = answered(client, upload, encoding="utf-8").content.decode()
    assert "not written in the encoding" in html
    assert "What the columns mean" in html


def test_file_can_be_thrown_away(client, ines, organisation):
    upload = uploaded(client, organisation)
    client.post(page("import_discard", upload))
    assert not upload.folder.exists()
    assert client.get(page("import_columns", upload)).status_code == 404


def test_list_is_removed_once_it_is_in_and_everything_after_a_week(client, ines, organisation):
    upload = uploaded(client, organisation)
    answered(client, upload)
    client.post(page("import_bring_in", upload))
    assert not upload.list_path.exists()
    assert upload.refused_path.exists()
    assert clear_away(organisation, now=timezone.now() + dt.timedelta(days=8)) == 1
    assert not upload.folder.exists()


PAGES = (
    "import_columns", "import_check", "import_result", "import_progress", "import_refused",
)  # fmt: skip


@pytest.fixture
def theirs(organisation):
    return keep_upload(
        organisation=organisation, name="old.csv", size=len(LIST), chunks=[LIST.encode()],
        by="Ines", now=timezone.now(),
    )  # fmt: skip


@pytest.mark.parametrize("name", PAGES)
def test_stranger_finds_no_list_and_reader_may_not_open_it(client, organisation, theirs, name):
    client.force_login(make_user(make_organisation()))
    assert client.get(page(name, theirs)).status_code == 404
    client.force_login(make_user(organisation, Membership.Role.READER))
    expected = 404 if name == "import_refused" and not theirs.has_refused_rows else 403
    assert client.get(page(name, theirs)).status_code in {403, expected}


@pytest.mark.parametrize("name", ["import_bring_in", "import_discard"])
def test_nobody_else_moves_a_list_on(client, organisation, theirs, name):
    client.force_login(make_user(make_organisation()))
    assert client.post(page(name, theirs)).status_code == 404
    client.force_login(make_user(organisation, Membership.Role.CREW))
    assert client.post(page(name, theirs)).status_code == 403
    client.force_login(make_user(organisation))
    assert client.get(page(name, theirs)).status_code == 405


@pytest.mark.parametrize("role", ["planner", "crew", "reader"])
def test_only_the_office_brings_lists_in_and_takes_the_register_out(client, organisation, role):
    client.force_login(make_user(organisation, role))
    assert client.get(reverse("servicing:import")).status_code == 403
    assert client.get(reverse("servicing:register_export")).status_code == 403


def test_nobody_is_sent_to_the_door(client):
    assert client.get(reverse("servicing:import")).url.startswith(reverse("login"))


def test_register_is_handed_out_as_csv(client, ines, organisation):
    upload = uploaded(client, organisation)
    answered(client, upload)
    client.post(page("import_bring_in", upload))
    answer = client.get(reverse("servicing:register_export"))
    lines = b"".join(answer.streaming_content).decode("utf-8-sig").splitlines()
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert [line.split(",")[0] for line in lines] == ["Reference", "A1", "A2"]
