"""Rows become systems, or are refused with everything that is wrong with them."""

import csv
import datetime as dt
from dataclasses import replace

import pytest

from servicing.importers.columns import guess_mapping
from servicing.importers.files import open_sheet
from servicing.importers.interpretation import read_rows
from servicing.importers.refused import defused, write_refused
from servicing.importers.rows import AgreementTerm, Defaults, Owner, RowErrors, SystemRow
from servicing.importers.sheets import Sheet, SheetRow

TODAY = dt.date(2026, 11, 25)
DEFAULTS = Defaults(gallon="imperial_gallons", plans=("Yearly care", "Full care"))
GOOD = {
    "Reference": "A1",
    "Kind": "septic tank",
    "Address": "Mill Lane",
    "Postcode": "LD1 5AA",
    "Installed": "12/03/2009",
    "Last emptied": "2021-03-15",
    "Capacity": "2800",
}


def read(*rows, defaults=DEFAULTS):
    headings = tuple(dict.fromkeys(key for row in rows for key in row))
    lines = [
        SheetRow(number, tuple(row.get(heading) for heading in headings))
        for number, row in enumerate(rows, start=2)
    ]
    sheet = Sheet("list.csv", headings, lambda: iter(lines))
    return list(read_rows(sheet, guess_mapping(sheet), defaults, TODAY))


def accepted(defaults=DEFAULTS, **cells):
    (row,) = read(
        GOOD | {key.replace("_", " "): cell for key, cell in cells.items()}, defaults=defaults
    )
    assert isinstance(row, SystemRow), row
    return row


def reasons(defaults=DEFAULTS, **cells):
    (row,) = read(
        GOOD | {key.replace("_", " "): cell for key, cell in cells.items()}, defaults=defaults
    )
    assert isinstance(row, RowErrors), row
    return {error.column: error.reason for error in row.errors}


def test_plain_row_becomes_a_system():
    row = accepted()
    assert row.system == {
        "kind": "septic_tank",
        "installed_on": dt.date(2009, 3, 12),
        "last_emptied_on": dt.date(2021, 3, 15),
    }
    assert (row.line, row.reference, row.working_volume_litres) == (2, "A1", 2800)
    assert row.place.postcode == "LD1 5AA"


@pytest.mark.parametrize(
    ("cells", "column", "reason"),
    [
        ({"Last_emptied": "1/1/2001"}, "Last emptied", "before it was installed on 12/03/2009"),
        ({"Last_emptied": "1/1/2031"}, "Last emptied", "lies in the future"),
        ({"Installed": "1/1/2031", "Last_emptied": ""}, "Installed", "lies in the future"),
        ({"Installed": "31/02/2009"}, "Installed", "no day “31/02/2009”"),
        ({"Capacity": "-5"}, "Capacity", "impossible"),
        ({"Capacity": "9000000"}, "Capacity", "Is the unit right"),
        ({"Capacity": "100"}, "Capacity", "too little for a septic tank"),
        ({"Capacity": "2800 firkins"}, "Capacity", "not a unit"),
        ({"Kind": "teapot"}, "Kind", "not a kind"),
        ({"Kind": ""}, "Kind", "not given"),
        ({"Reference": ""}, "Reference", "is missing"),
        ({"Reference": "x" * 41}, "Reference", "longer than 40"),
        ({"Postcode": "LD1"}, "Postcode", "first half"),
        ({"E-mail": "nope"}, "E-mail", "not an e-mail"),
        ({"Latitude": "52.2"}, "Latitude", "longitude is missing"),
        ({"Grid_ref": "TI 1 1"}, "Grid ref", "no square"),
        ({"Easting": "300000"}, "Easting", "go together"),
        ({"Weeks": "60"}, "Weeks", "do not fit a year"),
        ({"Aftercare_plan": "Weekly"}, "Aftercare plan", "no aftercare plan “Weekly”"),
        ({"Aftercare_plan": "Full care"}, "Aftercare plan", "ends is not given"),
        ({"Address": "", "Postcode": ""}, "", "no place is given"),
        ({"Lat_long": "51.5, -0.1"}, "Postcode", "km from the postcode district LD1"),
    ],
)
def test_wrong_cell_is_refused_at_its_column(cells, column, reason):
    assert reason in reasons(**cells)[column]


def test_everything_wrong_with_a_row_is_told_at_once():
    found = reasons(Capacity="-5", Installed="32/1/2009", Postcode="?x")
    assert set(found) == {"Capacity", "Installed", "Postcode"}


def test_reference_twice_in_a_file_is_refused_with_the_earlier_line():
    first, second = read(GOOD, GOOD | {"Reference": "a1"})
    assert isinstance(first, SystemRow)
    assert isinstance(second, RowErrors)
    assert second.reason == "Reference: reference a1 already stands on line 2"


def test_list_without_references_gets_lasting_ones():
    without = {key: cell for key, cell in GOOD.items() if key != "Reference"}
    once, again, elsewhere = (
        read(row)[0].reference for row in (without, without, without | {"Address": "Farm"})
    )
    assert once == again != elsewhere
    assert isinstance(read(without, without)[1], RowErrors)


def test_dates_known_by_year_only_do_not_contradict_each_other():
    row = accepted(Installed="Mar 2010", Last_emptied="2010")
    assert row.system["last_emptied_on"] == dt.date(2010, 3, 1)
    assert "last emptied taken as 01/03/2010, the earliest it can mean" in row.remarks


def test_never_emptied_is_no_date():
    assert "last_emptied_on" not in accepted(Last_emptied="never").system


def test_missing_values_stay_missing():
    row = accepted(Capacity="n/a", Persons="?", Installed="unknown", Last_emptied="-")
    assert (row.working_volume_litres, row.use.persons) == (None, None)
    assert row.system == {"kind": "septic_tank"}


def test_bedrooms_stand_in_for_persons_and_are_said_to():
    row = accepted(Bedrooms="3")
    assert (row.use.persons, row.system["bedrooms"]) == (None, 3)
    assert any("bedrooms kept" in remark for remark in row.remarks)


def test_kind_can_be_answered_for_the_whole_file():
    row = accepted(replace(DEFAULTS, kind="cesspool"), Kind="")
    assert row.system["kind"] == "cesspool"
    assert "kind not given, taken as cesspool" in row.remarks


def test_gallons_of_a_column_follow_the_answer():
    row = {key: cell for key, cell in GOOD.items() if key != "Capacity"} | {"Size (gal)": "1000"}
    litres = {
        gallon: read(row, defaults=replace(DEFAULTS, gallon=gallon))[0].working_volume_litres
        for gallon in ("imperial_gallons", "us_gallons")
    }
    assert litres == {"imperial_gallons": 4546.1, "us_gallons": 3785.4}
    (refused,) = read(row, defaults=replace(DEFAULTS, gallon=""))
    assert "imperial or US" in refused.reason


def test_positions_come_from_whatever_is_given():
    # The Ordnance Survey's worked example: TG 51409 13177 is 52.657979 N 1.716052 E.
    there = pytest.approx((52.65798, 1.71605), abs=2e-5)
    for cells in (
        {"Grid ref": "TG 51409 13177"},
        {"Easting": "651409.903", "Northing": "313177.270"},
        {"Latitude": "52.657979", "Longitude": "1.716052"},
        {"Latitude": "1.716052", "Longitude": "52.657979"},
        {"Lat long": "52.657979, 1.716052"},
        {"Lat long": "TG 51409 13177"},
        {"Grid ref": "52.657979 1.716052"},
        {"Grid ref": "N 52.657979, E 1.716052"},
    ):
        place = accepted(Postcode="", **cells).place
        assert (place.latitude, place.longitude) == there


def test_postcode_alone_gives_an_openly_approximate_position():
    row = accepted()
    assert row.place.location_source == "postcode"
    assert any(remark.startswith("position approximate") for remark in row.remarks)


def test_owner_and_agreement_are_read():
    row = accepted(
        Owner="Omar Field",
        Email="omar@home.example",
        Aftercare_plan="full CARE",
        Agreement_ends="31/12/2026",
    )
    assert row.owner == Owner("Omar Field", "omar@home.example", "")
    assert row.agreement == AgreementTerm("Full care", dt.date(2026, 1, 1), dt.date(2026, 12, 31))


def test_postcodes_of_other_countries_are_kept_as_written():
    row = accepted(replace(DEFAULTS, country="US"), Postcode="04101")
    assert row.place.postcode == "04101"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+2", "@sum", "\tx", "\rx", "-cmd"])
def test_cell_that_could_run_is_defused(text):
    assert defused(text) == "'" + text


@pytest.mark.parametrize("text", ["-3.25", "Mill", "", "a=b"])
def test_harmless_cell_stays_as_it_is(text):
    assert defused(text) == text


def test_refused_rows_can_be_corrected_and_read_again(tmp_path):
    path, refused = tmp_path / "list.csv", tmp_path / "refused.csv"
    path.write_text("Reference,Kind,Address,Phone,Capacity\nA1,septic,=Mill,+44 1632 960123,-5\n")
    sheet = open_sheet(path)
    rows = list(read_rows(sheet, guess_mapping(sheet), DEFAULTS, TODAY))
    assert write_refused(refused, sheet.headings, rows) == 1
    with refused.open(encoding="utf-8-sig", newline="") as file:
        written = list(csv.DictReader(file))
    assert written[0]["Address"] == "'=Mill"
    assert written[0]["reason"] == "Capacity: a volume of -5 is impossible"
    refused.write_text(refused.read_text(encoding="utf-8-sig").replace(",-5,", ",2800,"))
    again = open_sheet(refused)
    (row,) = read_rows(again, guess_mapping(again), DEFAULTS, TODAY)
    assert isinstance(row, SystemRow)
    assert row.place.address == "=Mill"
    assert row.owner == Owner("+44 1632 960123", "", "+44 1632 960123")
