"""Dates as lists give them, some of them only by month or year."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from dataclasses import dataclass

from .cells import CellRefusedError, as_text

# Day 1 of the serial dates of spreadsheets, with their leap day of 1900 that never was.
SERIAL_DAY_ZERO = dt.date(1899, 12, 30)
SERIALS = range(7_306, 73_051)  # 1920 to 2099
YEARS = range(1850, 2100)
_MONTHS = {
    name.lower(): number
    for names in (calendar.month_name, calendar.month_abbr)
    for number, name in enumerate(names)
    if name
} | {"sept": 9}

_YEAR_FIRST = re.compile(r"^(\d{4})[-/.](\d{1,2})(?:[-/.](\d{1,2}))?(?:[t ]\d{1,2}:\d{2}.*)?$")
_PACKED = re.compile(r"^((?:19|20)\d{2})(\d{2})(\d{2})$")
_IN_FIGURES = re.compile(r"^(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})(?: \d{1,2}:\d{2}.*)?$")
_MONTH_YEAR = re.compile(r"^(\d{1,2})[-/.](\d{4})$")
_WITH_WORD = re.compile(
    r"^(?:[a-z]{3,9},? )?(?:(\d{1,2})(?:st|nd|rd|th)?[-/. ]*)?([a-z]{3,9})[-/., ']*(\d{4}|\d{2})$"
)
_WORD_FIRST = re.compile(r"^([a-z]{3,9})[. ]*(\d{1,2})(?:st|nd|rd|th)?,? +(\d{4})$")
_BARE = re.compile(r"^\d{1,5}(?:\.\d+)?$")


@dataclass(frozen=True, slots=True)
class ReadDate:
    """The days a written date can mean: one, or all of a month or a year."""

    earliest: dt.date
    latest: dt.date

    @property
    def is_exact(self) -> bool:
        """Whether a single day was written."""
        return self.earliest == self.latest


def read_date(cell: object, *, month_first: bool, today: dt.date) -> ReadDate:
    """Return what a cell says as a date; `month_first` tells 03/04/2021 as the third of April.

    Two-figure years lie in the hundred years before the end of next year. Raises
    CellRefusedError for what is no date or no day of the calendar.
    """
    if isinstance(cell, dt.datetime):
        return _day(cell.year, cell.month, cell.day, str(cell))
    if isinstance(cell, dt.date):
        return ReadDate(cell, cell)
    text = as_text(cell)
    lowered = text.lower().strip(" .")
    for reading in (_year_first, _bare, _with_word):
        if found := reading(lowered, text, today):
            return found
    if found := _in_figures(lowered, text, today, month_first=month_first):
        return found
    msg = f"“{text}” is not a date: write it like 15/03/2021, 2021-03-15 or Mar 2021"
    raise CellRefusedError(msg)


def reads_month_first(texts: list[str]) -> bool:
    """Whether dates in figures in a column only make sense with the month before the day."""
    pairs = [(int(m[1]), int(m[2])) for text in texts if (m := _IN_FIGURES.match(text.strip()))]
    return any(second > 12 for _, second in pairs) and all(first <= 12 for first, _ in pairs)


def _year_first(text: str, shown: str, today: dt.date) -> ReadDate | None:
    del today
    if match := _YEAR_FIRST.match(text) or _PACKED.match(text):
        year, month = int(match[1]), int(match[2])
        return _day(year, month, int(match[3]), shown) if match[3] else _month(year, month, shown)
    return None


def _bare(text: str, shown: str, today: dt.date) -> ReadDate | None:
    """A number alone: a year, or the serial date of a spreadsheet."""
    del today
    if not _BARE.match(text):
        return None
    number = int(float(text))
    if number in YEARS:
        return ReadDate(dt.date(number, 1, 1), dt.date(number, 12, 31))
    if number in SERIALS:
        day = SERIAL_DAY_ZERO + dt.timedelta(days=number)
        return ReadDate(day, day)
    msg = f"“{shown}” is neither a year nor a date"
    raise CellRefusedError(msg)


def _with_word(text: str, shown: str, today: dt.date) -> ReadDate | None:
    if match := _WORD_FIRST.match(text):
        word, day, year = match[1], match[2], match[3]
    elif match := _WITH_WORD.match(text):
        day, word, year = match[1], match[2], match[3]
    else:
        return None
    month = _MONTHS.get(word)
    if month is None:
        return None
    full_year = _full_year(year, today)
    return _day(full_year, month, int(day), shown) if day else _month(full_year, month, shown)


def _in_figures(text: str, shown: str, today: dt.date, *, month_first: bool) -> ReadDate | None:
    if match := _MONTH_YEAR.match(text):
        return _month(int(match[2]), int(match[1]), shown)
    if not (match := _IN_FIGURES.match(text)):
        return None
    first, second = int(match[1]), int(match[2])
    day, month = (second, first) if month_first else (first, second)
    if month > 12 >= day:
        order = "the month before the day" if month_first else "the day before the month"
        msg = f"“{shown}” has no month {month}: dates of this file are read with {order}"
        raise CellRefusedError(msg)
    return _day(_full_year(match[3], today), month, day, shown)


def _full_year(text: str, today: dt.date) -> int:
    if len(text) == 4:
        return int(text)
    year = today.year - today.year % 100 + int(text)
    return year if year <= today.year + 1 else year - 100


def _day(year: int, month: int, day: int, shown: str) -> ReadDate:
    _check_year(year, shown)
    try:
        found = dt.date(year, month, day)
    except ValueError:
        msg = f"there is no day “{shown}”"
        raise CellRefusedError(msg) from None
    return ReadDate(found, found)


def _month(year: int, month: int, shown: str) -> ReadDate:
    _check_year(year, shown)
    if not 1 <= month <= 12:
        msg = f"there is no month “{shown}”"
        raise CellRefusedError(msg)
    return ReadDate(
        dt.date(year, month, 1), dt.date(year, month, calendar.monthrange(year, month)[1])
    )


def _check_year(year: int, shown: str) -> None:
    if year not in YEARS:
        msg = f"the year of “{shown}” is not between {YEARS.start} and {YEARS.stop - 1}"
        raise CellRefusedError(msg)
