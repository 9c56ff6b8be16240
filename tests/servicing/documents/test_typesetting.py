"""What holds for every paper: tagged, the same bytes, text stays text, nothing is fetched."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re
import zlib

import pytest
import typst
from hypothesis import given, settings
from hypothesis import strategies as st

from servicing.documents.blocks import Facts, Heading, Sheet, Table, Text
from servicing.documents.typesetting import LAYOUTS, fonts, typeset
from tests.servicing.documents.facts_to_print import ISSUER, STAMP

ATTEMPTS = (
    '#panic("evaluated")',
    '#import "@preview/x:1.0.0": *',
    '#read("/etc/passwd")',
    "*bold* _italic_ $x^2$ `raw` <label> @ref [content] \\u{41}",
    '"} // {"told": "x"',
    "= Heading",
    "<svg onload=x>&amp;</svg>",
)


def make_sheet(*blocks, **fields) -> Sheet:
    told = {"title": "A paper", "issuer": ISSUER, "stamp": STAMP, "blocks": blocks, **fields}
    return Sheet(**told)


def streams(pdf: bytes) -> bytes:
    """Everything a PDF holds, its compressed streams opened."""
    parts = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    opened = b""
    for part in parts:
        try:
            opened += zlib.decompressobj().decompress(part)
        except zlib.error:
            opened += part
    return pdf + opened


def test_the_file_says_that_it_is_tagged_and_of_which_standard():
    # ISO 14289-1 by the compiler's own checks; the mark it leaves is `pdfuaid:part`.
    inside = streams(typeset(make_sheet(Text("Words"))))
    assert b"pdfuaid:part" in inside
    assert b"/StructTreeRoot" in inside
    assert b"/Lang" in inside


def test_the_compiler_refuses_a_picture_without_words_for_it():
    source = b"""#set document(title: "x")
    #image(bytes("<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1 1'/>"), format: "svg")"""
    with pytest.raises(typst.TypstError, match="alt"):
        typst.compile(source, pdf_standards="ua-1")


def test_the_compiler_refuses_a_paper_without_a_title():
    with pytest.raises(typst.TypstError, match="title"):
        typeset(make_sheet(Text("Words"), title=""))


def test_the_same_facts_give_the_same_bytes():
    sheet = make_sheet(Heading("A"), Facts((("b", "c"),)), Table("d", ("e",), (("f",),)))
    assert typeset(sheet) == typeset(sheet)


def test_another_day_gives_another_file():
    later = dataclasses.replace(STAMP, issued_on=dt.date(2026, 5, 5))
    assert typeset(make_sheet()) != typeset(make_sheet(stamp=later))


@pytest.mark.parametrize("attempt", ATTEMPTS)
def test_what_looks_like_markup_is_printed_as_it_stands(attempt, read):
    pdf = typeset(make_sheet(Text(attempt), Facts(((attempt, attempt, attempt),)), title=attempt))
    printed = read(pdf).replace(" ", "")
    assert printed.count(attempt.replace(" ", "")) >= 4


# Welsh (BS EN ISO 8859-14), Polish and Irish names are printed with their own letters.
@pytest.mark.parametrize("name", ["Llŷr Tŷ Gŵyn", "Łukasz Żółć", "Sinéad Ó Briain", "€ £ ½ ² °"])
def test_names_keep_their_letters(name, read):
    printed = read(typeset(make_sheet(Text(name)))).replace(" ", "")
    assert name.replace(" ", "") in printed


def test_a_letter_we_lack_becomes_the_nearest_we_have(read):
    assert "A name: ?? Khanh e" in read(
        typeset(make_sheet(Text("A name: 水路 Khánh ḛ".replace("á", "a"))))
    )


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=60))
def test_no_text_stops_the_press(words):
    assert typeset(make_sheet(Text(words), Heading(words), about=words)).startswith(b"%PDF-1.7")


def test_only_our_typeface_is_known_to_the_press():
    assert fonts().families() == ["Atkinson Hyperlegible"]


def test_no_layout_asks_for_a_package_or_a_file():
    for layout in LAYOUTS.glob("*.typ"):
        source = layout.read_text("utf-8")
        asked = re.findall(r"#?(?:import|include|read|eval|plugin|csv|yaml)\b\s*[(\"]", source)
        assert asked == [], layout.name


def test_text_can_be_read_in_the_order_of_the_page(read):
    blocks = (Heading("First"), Text("second"), Table("third", ("fourth",), (("fifth",),)))
    text = read(typeset(make_sheet(*blocks)))
    places = [
        text.index(word) for word in ("A paper", "First", "second", "third", "fourth", "fifth")
    ]
    assert places == sorted(places)


def test_the_code_on_a_paper_is_read_by_a_scanner(scan):
    assert scan(typeset(make_sheet(Text("Words")))) == [STAMP.check_at]
