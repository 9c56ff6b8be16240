"""Transfer notes against the field lists of the regulations named beside each check."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from servicing.documents import Registration, Side, transfer_note, why_not, why_not_carrier
from servicing.documents.note_fields import FIELDS, asked_for
from servicing.documents.transfer_note import said_on, transfer_note_sheet
from tests.servicing.documents.facts_to_print import STAMP, make_note

# Waste (England and Wales) Regulations 2011 (SI 2011/988), reg 35(2): code, description, quantity,
# loose or contained, time and place, SIC code, name and address of both, signatures of both,
# status of each, and the confirmation of reg 12.
ENGLAND = {
    "code", "description", "quantity", "containment", "time", "date", "place", "activity",
    "transferor", "transferee", "transferor_status", "transferee_status", "hierarchy", "signatures",
}  # fmt: skip
# Environmental Protection (Duty of Care) (Scotland) Regulations 2014, reg 3(3): date and place
# with postcode, no time; of the status only whether the transferor produced or imported it.
SCOTLAND = {
    "code", "description", "quantity", "containment", "date", "place", "postcodes", "activity",
    "transferor", "transferee", "transferor_status", "signatures",
}  # fmt: skip
# Controlled Waste (Duty of Care) Regulations (NI) 2002, reg 2, as substituted by SR 2013/255,
# reg 5: as in England, and origin and destination.
NORTHERN_IRELAND = ENGLAND | {"origin", "destination"}


@pytest.mark.parametrize(
    ("country", "fields"),
    [
        ("england", ENGLAND),
        ("wales", ENGLAND),
        ("scotland", SCOTLAND),
        ("northern-ireland", NORTHERN_IRELAND),
    ],
)
def test_a_country_asks_for_the_fields_of_its_regulation(country, fields):
    assert {field.key for field in asked_for(country)} == fields


@pytest.mark.parametrize("country", ["england", "wales", "scotland", "northern-ireland", "ireland"])
def test_a_complete_note_is_not_refused(country):
    assert why_not(make_note(country=country)) == ()


def test_every_field_has_something_said_on_the_note():
    assert set(said_on(make_note())) == {field.key for field in FIELDS}


def test_what_is_said_stands_on_the_paper(read):
    note = make_note()
    text = read(transfer_note(note, STAMP))
    own_words = {"hierarchy", "signatures", "transferor", "transferee", "postcodes"}
    said = {key: words for key, words in said_on(note).items() if key not in own_words}
    assert {key for key, words in said.items() if " ".join(words.split()) not in text} == set()
    for words in ("SI 2011/988", "waste hierarchy", "Transferor", "signature", "TEST-1"):
        assert words in text


@pytest.mark.parametrize(
    ("country", "missing", "said"),
    [
        ("england", {"transferred_at": ""}, "The time"),
        ("northern-ireland", {"destination": ""}, "The destination"),
        ("scotland", {"transferor": Side(name="O", address="a", status="p")}, "postcode"),
        ("england", {"activity_code": ""}, "SIC code"),
        ("england", {"carrier": Side(name="C", address="", status="s")}, "carrier's name"),
    ],
)
def test_a_note_without_what_its_country_asks_for_is_refused(country, missing, said):
    reasons = why_not(make_note(country=country, **missing))
    assert len(reasons) == 1
    assert said in reasons[0]


def test_what_another_country_asks_for_is_no_reason():
    assert why_not(make_note(country="scotland", transferred_at="", destination="")) == ()


def test_a_note_without_litres_is_refused():
    waste = dataclasses.replace(make_note().waste, litres=None)
    assert "quantity" in why_not(make_note(waste=waste))[0]


# Carriers register for three years at most and must be registered on the day: gov.uk, "Register
# as a waste carrier, broker or dealer".
@pytest.mark.parametrize(
    ("number", "begins", "ends", "said"),
    [
        ("", None, dt.date(2028, 1, 1), "number is not recorded"),
        ("T", None, None, "runs out is not recorded"),
        ("T", None, dt.date(2026, 5, 3), "ran out on 3 May 2026"),
        ("T", dt.date(2026, 5, 5), dt.date(2028, 1, 1), "only from 5 May 2026"),
    ],
)
def test_a_registration_that_does_not_hold_on_the_day_is_refused(number, begins, ends, said):
    registration = Registration(number=number, valid_from=begins, valid_to=ends)
    assert said in why_not(make_note(registration=registration))[0]


@pytest.mark.parametrize("day", [dt.date(2026, 5, 4), dt.date(2028, 1, 1)])
def test_a_registration_holds_from_its_first_day_to_its_last(day):
    registration = Registration(
        number="T", valid_from=dt.date(2026, 5, 4), valid_to=dt.date(2028, 1, 1)
    )
    assert why_not_carrier(registration, day) == ""


def test_a_code_that_is_not_confirmed_is_marked_to_be_checked(read):
    unsure = {"code_is_law": False, "code_source": "By likeness; ask the works"}
    waste = dataclasses.replace(make_note().waste, **unsure)
    assert "Check: By likeness; ask the works" in read(transfer_note(make_note(waste=waste), STAMP))


def test_where_the_law_is_not_known_the_note_says_so():
    sheet = transfer_note_sheet(make_note(country="elsewhere"), STAMP)
    assert any("not confirmed" in getattr(block, "text", "") for block in sheet.blocks)
