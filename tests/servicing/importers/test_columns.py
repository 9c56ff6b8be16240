"""Columns are understood by their headings and contents, and put right by hand."""

import pytest

from servicing.importers.columns import MappingError, correct_mapping, guess_mapping
from servicing.importers.sheets import Sheet, SheetRow


def sheet_of(headings, *rows):
    return Sheet(
        "list.csv",
        tuple(headings),
        lambda: iter([SheetRow(line, tuple(row)) for line, row in enumerate(rows, start=2)]),
    )


def uses(headings, *rows):
    return {column.heading: column.use for column in guess_mapping(sheet_of(headings, *rows))}


@pytest.mark.parametrize(
    ("heading", "use"),
    [
        ("Reference", "reference"), ("Job No.", "reference"), ("System ID", "reference"),
        ("Type of tank", "kind"), ("SystemType", "kind"), ("Installation date", "installed_on"),
        ("Date of last emptying", "last_emptied_on"), ("Last Desludged", "last_emptied_on"),
        ("last_emptied_on", "last_emptied_on"), ("Tank size (gal)", "volume:gallons"),
        ("Capacity litres", "volume:litres"), ("Volume m3", "volume:cubic_metres"),
        ("Capacity (imp. gal)", "volume:imperial_gallons"), ("US gallons", "volume:us_gallons"),
        ("working_volume_litres", "volume:litres"), ("No. of people", "persons"),
        ("Occupants", "persons"), ("Bedrooms", "bedrooms"), ("PE", "design_population"),
        ("Post Code", "postcode"), ("Eircode", "postcode"), ("Lat", "latitude"),
        ("OS Grid Ref", "grid_reference"), ("Eastings", "easting"), ("Owner", "owner_name"),
        ("E-mail", "owner_email"), ("Tel. no.", "owner_phone"), ("Service plan", "agreement"),
        ("Renewal date", "agreement_ends_on"), ("Discharges to", "discharge"),
        ("Colour of gate", ""), ("reason", ""),
    ],
)  # fmt: skip
def test_headings_of_the_trade_are_understood(heading, use):
    assert uses([heading]) == {heading: use}


def test_best_heading_gets_the_field():
    found = uses(["Customer contact name and number", "Owner's name", "Ref", "Our reference"])
    assert found["Owner's name"] == "owner_name"
    assert sorted(found.values()).count("owner_name") == 1
    assert sorted(found.values()).count("reference") == 1


def test_column_of_kinds_headed_tank_is_not_taken_for_sizes():
    assert uses(["Ref", "Tank"], ["1", "septic tank"], ["2", "cesspool"])["Tank"] == "kind"
    assert uses(["Ref", "Tank"], ["1", "2800"], ["2", "3800 l"])["Tank"] == "volume"


def test_location_in_words_is_not_taken_for_a_position():
    assert uses(["Location"], ["behind the barn"], ["by the gate"])["Location"] == ""
    assert uses(["Location"], ["52.1, -3.1"], ["52.2, -3.2"])["Location"] == "position"


def test_postcodes_and_addresses_are_known_by_what_they_hold():
    found = uses(["Aaa", "Bbb", "Ccc"], *[["LD1 5AA", "a@b.example", "SO 051 611"]] * 3)
    assert found == {"Aaa": "postcode", "Bbb": "owner_email", "Ccc": "grid_reference"}


def test_guess_is_put_right_by_hand():
    mapping = guess_mapping(sheet_of(["Ref", "Size", "Old ref"]))
    corrected = correct_mapping(mapping, {"old ref": "reference", "Size": "volume:us_gallons"})
    assert [column.use for column in corrected] == ["", "volume:us_gallons", "reference"]


def test_column_can_be_left_out():
    mapping = correct_mapping(guess_mapping(sheet_of(["Ref", "Size"])), {"Size": ""})
    assert [column.use for column in mapping] == ["reference", ""]


@pytest.mark.parametrize(
    ("wanted", "reason"),
    [
        ({"Depth": "notes"}, "no column “Depth”"),
        ({"Size": "weight"}, "not a field"),
        ({"Size": "volume:firkins"}, "not a unit"),
        ({"Size": "notes", "Ref": "notes"}, "More than one column is given to: Notes"),
    ],
)
def test_wrong_correction_is_refused_with_the_reason(wanted, reason):
    with pytest.raises(MappingError, match=reason):
        correct_mapping(guess_mapping(sheet_of(["Ref", "Size"])), wanted)
