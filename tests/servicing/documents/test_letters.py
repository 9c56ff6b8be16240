"""Letters: each on its own page, a thousand in one file."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from servicing.documents import Letter, due_letter, letters, paragraphs_of
from tests.servicing.documents.facts_to_print import ISSUER

DAY = dt.date(2026, 5, 4)


def make_letter(number=1, **fields):
    told = {
        "issuer": ISSUER,
        "to_name": f"Owner {number}",
        "to_lines": ("1 Lane", "ZZ1 1ZZ"),
        "subject": f"Letter {number}",
        "paragraphs": ("Dear Owner,", "Your tank is due by 4 June 2026."),
    }
    return Letter(**{**told, **fields})


def pages(pdf: bytes) -> int:
    return int(max(re.findall(rb"/Count (\d+)", pdf), key=int))


def test_a_letter_reads_from_sender_to_end(read):
    text = read(due_letter(make_letter(reference="S-1"), written_on=DAY))
    words = ("Aftercare Firm", "Owner 1", "1 Lane", "4 May 2026", "S-1", "Letter 1", "Dear Owner")
    places = [text.index(word) for word in words]
    assert places == sorted(places)


def test_a_thousand_letters_are_a_thousand_pages_and_each_was_counted():
    heard: list[int] = []
    made = letters((make_letter(n) for n in range(1000)), written_on=DAY, progress=heard.append)
    assert pages(made) == 1000
    assert heard == list(range(1, 1001))


def test_the_same_letters_give_the_same_bytes():
    told = [make_letter(n) for n in range(3)]
    assert letters(told, written_on=DAY) == letters(told, written_on=DAY)


def test_no_letters_are_refused():
    with pytest.raises(ValueError, match="no letter"):
        letters([], written_on=DAY)


def test_markup_in_a_letter_stays_text(read):
    told = make_letter(to_name='#panic("x")', paragraphs=("*bold* #read(1)",))
    text = read(due_letter(told, written_on=DAY))
    assert '#panic("x")' in text
    assert "*bold* #read(1)" in text


def test_the_address_in_a_letter_is_read_by_a_scanner(scan):
    link = f"https://ebbmark.example/place/{'a1B2' * 20}/"
    assert scan(due_letter(make_letter(link=link), written_on=DAY)) == [link]


def test_empty_lines_divide_paragraphs():
    assert paragraphs_of("One\r\nmore\r\n\r\n\r\nTwo\n") == ("One\nmore", "Two")
