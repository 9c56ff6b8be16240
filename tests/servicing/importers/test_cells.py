"""Dates, volumes, words and people as lists write them."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.importers.cells import CellRefusedError, as_text
from servicing.importers.dates import ReadDate, read_date, reads_month_first
from servicing.importers.people import Household, read_email, read_persons, read_phone, read_whole
from servicing.importers.sheets import UNCALCULATED
from servicing.importers.volumes import read_number, read_volume
from servicing.importers.words import DISCHARGES, KINDS, USES, find_word, read_word, read_yes_or_no

TODAY = dt.date(2026, 11, 25)


def day(year, month, number):
    return ReadDate(dt.date(year, month, number), dt.date(year, month, number))


def read(cell, *, month_first=False):
    return read_date(cell, month_first=month_first, today=TODAY)


@pytest.mark.parametrize(
    "cell",
    [
        "15/03/2021", "15-3-21", "15.03.2021", "2021-03-15", "2021-03-15T00:00:00",
        "2021/3/15", "15 Mar 2021", "15th March 2021", "Mon, 15 March 2021", "15-Mar-21",
        "March 15, 2021", "20210315", "44270", 44270, 44270.0,
        dt.datetime(2021, 3, 15, 9, 30),  # noqa: DTZ001 - as workbooks give it

        dt.date(2021, 3, 15), "15/03/2021 00:00", " 15/03/2021. ",
    ],
    ids=repr,
)  # fmt: skip
def test_one_day_in_its_usual_writings_is_one_day(cell):
    # 44270 is the serial date spreadsheets show for 15 March 2021 (day 1 = 1 January 1900).
    assert read(cell) == day(2021, 3, 15)


def test_serial_dates_repeat_the_published_example():
    # ECMA-376 (Office Open XML), part 1, 18.17.4.1: serial 39448 is 1 January 2008 in the 1900
    # date system (from memory; the same pair stands in the help of spreadsheet programs).
    assert read(39448) == day(2008, 1, 1)


@pytest.mark.parametrize("cell", ["Mar 2021", "March 2021", "Mar-21", "03/2021", "2021-03"])
def test_month_without_day_means_any_of_its_days(cell):
    assert read(cell) == ReadDate(dt.date(2021, 3, 1), dt.date(2021, 3, 31))


@pytest.mark.parametrize("cell", ["2009", 2009, 2009.0], ids=repr)
def test_year_alone_means_any_of_its_days(cell):
    assert read(cell) == ReadDate(dt.date(2009, 1, 1), dt.date(2009, 12, 31))


def test_order_of_day_and_month_is_as_told():
    assert read("03/04/2021") == day(2021, 4, 3)
    assert read("03/04/2021", month_first=True) == day(2021, 3, 4)


def test_column_that_only_makes_sense_month_first_is_noticed():
    assert reads_month_first(["03/25/2021", "1/2/2020"])
    assert not reads_month_first(["25/03/2021", "1/2/2020"])
    assert not reads_month_first(["03/04/2021"])


def test_two_figure_years_lie_in_the_last_hundred_years():
    assert read("1/2/98") == day(1998, 2, 1)
    assert read("1/2/26") == day(2026, 2, 1)


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("31/02/2010", "no day"),
        ("03/25/2021", "no month 25"),
        ("13/2021", "no month"),
        ("last summer", "not a date"),
        ("1/1/1066", "the year of"),
        ("99999", "neither a year nor a date"),
        ("15 Foo 2021", "not a date"),
        (UNCALCULATED, "formula"),
        ("#N/A", "spreadsheet error #N/A"),
    ],
)
def test_wrong_date_is_refused_with_the_reason(cell, reason):
    with pytest.raises(CellRefusedError, match=reason):
        read(cell)


@given(st.dates(dt.date(1950, 1, 1), dt.date(2026, 11, 25)))
def test_every_day_survives_being_written_in_each_order(when):
    expected = ReadDate(when, when)
    assert read(f"{when:%d/%m/%Y}") == expected
    assert read(f"{when:%m/%d/%Y}", month_first=True) == expected
    assert read(when.isoformat()) == expected
    assert read((when - dt.date(1899, 12, 30)).days) == expected


@pytest.mark.parametrize(
    ("cell", "unit", "litres"),
    [
        ("2800", "litres", 2800),
        (2800, "litres", 2800),
        ("2,800 litres", "litres", 2800),
        ("2 800 l", "litres", 2800),
        ("2.8 m3", "litres", 2800),
        ("2,8 m³", "litres", 2800),
        (2.8, "cubic_metres", 2800),
        ("approx 2800ltrs", "litres", 2800),
        ("~2800 L.", "litres", 2800),
        # 4.546 09 L: Weights and Measures Act 1985, schedule 1; 3.785 411 784 L: NIST Handbook 44.
        ("1000 gal", "litres", 4546.1),
        ("1,000 imp gal", "litres", 4546.1),
        ("1000 gallons (US gal)".replace("gallons ", ""), "litres", 3785.4),
        ("1000 US gallons", "litres", 3785.4),
        ("1000", "imperial_gallons", 4546.1),
        ("1000", "us_gallons", 3785.4),
        ("4500 litres", "imperial_gallons", 4500),
    ],
    ids=repr,
)
def test_volumes_become_litres(cell, unit, litres):
    assert read_volume(cell, unit=unit, gallon="imperial_gallons") == pytest.approx(litres)


@pytest.mark.parametrize(
    ("cell", "reason"),
    [
        ("-5", "impossible"),
        ("0", "impossible"),
        ("900000", "Is the unit right"),
        ("2800 firkins", "“firkins” is not a unit"),
        ("big", "not a volume"),
        ("2 x 1500", "not a unit"),
        ("1000/1500", "not a number"),
    ],
)
def test_wrong_volume_is_refused_with_the_reason(cell, reason):
    with pytest.raises(CellRefusedError, match=reason):
        read_volume(cell, unit="litres", gallon="")


def test_gallon_of_unknown_kind_is_asked_for():
    with pytest.raises(CellRefusedError, match="imperial or US"):
        read_volume("1000 gal", unit="litres", gallon="")


@pytest.mark.parametrize(
    ("text", "number"),
    [("1,234", 1234), ("1,23", 1.23), ("1 234 567", 1234567), ("-3", -3), ("1,234.5", 1234.5)],
)
def test_numbers_with_thousands_and_decimal_commas_are_read(text, number):
    assert read_number(text) == number


@pytest.mark.parametrize(
    ("cell", "persons"),
    [("4", 4), (4.0, 4), ("4 people", 4), ("2 adults, 3 children", 5), ("2+1", 3), ("0", 0)],
)
def test_persons_are_counted(cell, persons):
    assert read_persons(cell).persons == persons


def test_range_of_persons_is_taken_at_its_middle_and_said_so():
    assert read_persons("4-5") == Household(4.5, None, "“4-5” persons taken as 4.5")


def test_bedrooms_among_persons_stay_bedrooms():
    household = read_persons("3 bed")
    assert (household.persons, household.bedrooms) == (None, 3)


@pytest.mark.parametrize("cell", ["-1", "many", "6000"])
def test_persons_beyond_belief_are_refused(cell):
    with pytest.raises(CellRefusedError):
        read_persons(cell)


def test_whole_numbers_keep_their_bounds():
    assert read_whole("3 bedrooms", least=0, most=30, what="bedrooms") == 3
    with pytest.raises(CellRefusedError, match="from 0 to 30"):
        read_whole("31", least=0, most=30, what="bedrooms")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Septic Tank", "septic_tank"), ("septic", "septic_tank"), ("cess pit", "cesspool"),
        ("CESSPOOL", "cesspool"), ("sewage treatment plant", "package_plant"),
        ("Package plant", "package_plant"), ("package_plant", "package_plant"),
        ("grease trap", "grease_trap"), ("Inspection chamber", "chamber"), ("manhole", "chamber"),
        ("Soakaway", "soakaway"), ("Package treatment plant to soakaway", "package_plant"),
    ],
)  # fmt: skip
def test_trade_words_name_kinds(text, kind):
    assert read_word(text, KINDS, "kind") == kind


@pytest.mark.parametrize(
    ("text", "way_out"),
    [
        ("drainage field", "drainage_field"), ("Soakaway", "soakaway"), ("ditch", "watercourse"),
        ("brook at bottom of field", "watercourse"), ("mains sewer", "sewer"), ("None", "none"),
    ],
)  # fmt: skip
def test_trade_words_name_ways_out(text, way_out):
    assert read_word(text, DISCHARGES, "way out") == way_out


def test_unknown_word_is_refused_by_name():
    with pytest.raises(CellRefusedError, match="“teapot” is not a kind"):
        read_word("teapot", KINDS, "kind of system")


def test_uses_are_found():
    assert find_word("Holiday cottage", USES) == "holiday_let"
    assert find_word("4 bed house", USES) == "residence"


def test_yes_and_no_are_told_by_their_marks():
    assert read_yes_or_no("Y") is True
    assert read_yes_or_no(False) is False
    with pytest.raises(CellRefusedError):
        read_yes_or_no("perhaps")


def test_first_of_several_addresses_is_kept_and_said_so():
    address, remark = read_email("a@home.example; b@home.example")
    assert address == "a@home.example"
    assert "several" in remark
    with pytest.raises(CellRefusedError, match="not an e-mail"):
        read_email("see file")


def test_telephone_number_takes_its_international_form():
    # 01632 960xxx: numbers Ofcom keeps free for drama use.
    assert read_phone("01632 960123", country="GB") == ("+44 1632 960123", "")
    assert read_phone(1632960123.0, country="GB") == ("+44 1632 960123", "")
    assert read_phone("0163 29601 (work)", country="GB")[1] == "telephone number kept as written"
    with pytest.raises(CellRefusedError):
        read_phone("none of yours", country="GB")


def test_cells_read_as_a_person_reads_them():
    assert as_text(3.0) == "3"
    assert as_text(" a\u00a0 b ") == "a b"
    assert as_text("'=1+1") == "=1+1"
    assert as_text(True) == "yes"
