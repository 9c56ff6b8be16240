"""Files of many makes become one kind of sheet, or are refused in words one can act on."""

import zipfile

import openpyxl
import pytest

from servicing.importers import csv_sheets, sheets, xlsx_sheets
from servicing.importers.files import open_sheet
from servicing.importers.sheets import UNCALCULATED, SheetError

LIST = "Reference,Address,Postcode,Capacity\nA1,Lôn Fach,LD1 5AA,2800\nA2,Mill Lane,LD1 5AB,3800\n"


def written(tmp_path, content, name="list.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def workbook(tmp_path, *sheets_of_rows, name="list.xlsx"):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for number, rows in enumerate(sheets_of_rows, start=1):
        sheet = book.create_sheet(f"Sheet {number}")
        for row in rows:
            sheet.append(row)
    book.save(tmp_path / name)
    return tmp_path / name


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_told_apart(tmp_path, encoding):
    sheet = open_sheet(written(tmp_path, LIST.encode(encoding)))
    assert sheet.headings == ("Reference", "Address", "Postcode", "Capacity")
    assert sheet.first_rows(1)[0].cells[1] == "Lôn Fach"


def test_mac_text_is_told_by_its_accents(tmp_path):
    text = LIST + "A3,Café Béal na hInse,LD1,1\nA4,“The Barn” – Müller,LD1,1\nA5,Seán,LD1,1\n"
    sheet = open_sheet(written(tmp_path, text.encode("mac_roman")))
    assert sheet.first_rows(3)[2].cells[1] == "Café Béal na hInse"


def test_encoding_can_be_said(tmp_path):
    sheet = open_sheet(written(tmp_path, LIST.encode("cp850")), encoding="cp850")
    assert sheet.first_rows(1)[0].cells[1] == "Lôn Fach"
    assert sheet.remarks == ("Read in the encoding cp850.",)


@pytest.mark.parametrize("encoding", ["klingon", "utf-8"])
def test_wrong_encoding_said_is_refused(tmp_path, encoding):
    with pytest.raises(SheetError, match="encoding"):
        open_sheet(written(tmp_path, LIST.encode("cp850")), encoding=encoding)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters_are_told_apart(tmp_path, delimiter):
    sheet = open_sheet(written(tmp_path, LIST.replace(",", delimiter)))
    assert [row.cells[0] for row in sheet.walk()] == ["A1", "A2"]


def test_titles_above_the_headings_and_empty_rows_are_passed_over(tmp_path):
    sheet = open_sheet(written(tmp_path, "Register 2019,,,\n,,,\n" + LIST + ",,,\n"))
    assert sheet.headings[0] == "Reference"
    assert [row.line for row in sheet.walk()] == [4, 5]


def test_line_of_a_row_counts_line_breaks_inside_cells(tmp_path):
    content = 'Reference,Address\nA1,"Mill\nLane"\nA2,Farm\n'
    assert [row.line for row in open_sheet(written(tmp_path, content)).walk()] == [2, 4]


def test_repeated_and_empty_headings_are_told_apart(tmp_path):
    sheet = open_sheet(written(tmp_path, "Reference,Date,Date,\nA1,1,2,3\n"))
    assert sheet.headings == ("Reference", "Date", "Date (3)", "Column 4")


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "empty"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old .xls"),
        (b"%PDF-1.7 ...", "not a list"),
        (b"ab\x00\x01\x02cd", "not text"),
        (b"PK\x03\x04 and no more", "damaged"),
        (b"one,two\n1,2\n", "No row of headings"),
    ],
)
def test_what_is_no_list_is_refused_with_the_reason(tmp_path, content, reason):
    with pytest.raises(SheetError, match=reason):
        open_sheet(written(tmp_path, content))


def test_large_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(50_000_000)
    with pytest.raises(SheetError, match="has 50 MB; at most 20 MB"):
        open_sheet(path)


def test_too_many_rows_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(sheets, "MAX_ROWS", 1)
    with pytest.raises(SheetError, match="more than 1 rows"):
        list(open_sheet(written(tmp_path, LIST)).walk())


def test_endless_cell_is_refused_with_its_line(tmp_path):
    with pytest.raises(SheetError, match="Line 4"):
        list(open_sheet(written(tmp_path, LIST + '"' + "x" * 200_000)).walk())


def test_workbook_is_read_like_text(tmp_path):
    path = workbook(tmp_path, [["Reference", "Address"], ["A1", "Mill"], [], ["A2", "Farm"]])
    assert [(row.line, row.cells[0]) for row in open_sheet(path).walk()] == [(2, "A1"), (4, "A2")]


def test_sheet_with_the_headings_is_found_and_the_others_are_named(tmp_path):
    path = workbook(tmp_path, [["What this is"]], [["Reference", "Postcode"], ["A1", "LD1 5AA"]])
    sheet = open_sheet(path)
    assert sheet.headings == ("Reference", "Postcode")
    assert sheet.remarks == ("Read the sheet “Sheet 2”, not Sheet 1.",)


def test_sheet_asked_for_by_a_wrong_name_is_refused_with_the_names(tmp_path):
    path = workbook(tmp_path, [["Reference"], ["A1"]])
    with pytest.raises(SheetError, match="it has: Sheet 1"):
        open_sheet(path, worksheet="Sheet 9")


def test_formula_without_its_result_is_marked(tmp_path):
    path = workbook(tmp_path, [["Reference", "Capacity"], ["A1", "=2*1400"], ["A2", 2800]])
    cells = [row.cells for row in open_sheet(path).walk()]
    assert cells == [("A1", UNCALCULATED), ("A2", 2800)]


def test_formula_counts_by_the_result_saved_with_it(tmp_path):
    path = workbook(tmp_path, [["Reference", "Capacity"], ["A1", "=2*1400"]])
    with zipfile.ZipFile(path) as old:
        parts = {name: old.read(name) for name in old.namelist()}
    sheet = "xl/worksheets/sheet1.xml"
    parts[sheet] = parts[sheet].replace(b"<f>2*1400</f><v></v>", b"<f>2*1400</f><v>2800</v>")
    parts[sheet] = parts[sheet].replace(b"<f>2*1400</f><v/>", b"<f>2*1400</f><v>2800</v>")
    parts[sheet] = parts[sheet].replace(b"<f>2*1400</f><v />", b"<f>2*1400</f><v>2800</v>")
    with zipfile.ZipFile(path, "w") as new:
        for name, content in parts.items():
            new.writestr(name, content)
    assert open_sheet(path).first_rows(1)[0].cells == ("A1", 2800)


def test_workbook_that_unpacks_too_large_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(xlsx_sheets, "MAX_UNPACKED_BYTES", 10)
    with pytest.raises(SheetError, match="unpacks"):
        open_sheet(workbook(tmp_path, [["Reference"], ["A1"]]))


def test_archive_that_is_no_workbook_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "list.xlsx", "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
    with pytest.raises(SheetError, match="not an XLSX"):
        open_sheet(tmp_path / "list.xlsx")


def test_latin_text_that_no_guess_decodes_is_still_read(tmp_path, monkeypatch):
    monkeypatch.setattr(csv_sheets, "LIKELY_ENCODINGS", ["cp1252"])
    content = b"Reference,Address\nA1,\x81\x8d\x8f\x90\n"  # undefined in cp1252
    assert open_sheet(written(tmp_path, content)).first_rows(1)[0].cells[0] == "A1"
