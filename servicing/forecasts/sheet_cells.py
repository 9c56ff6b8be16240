"""Cells of a CSV sheet, each read with the file, line and column it stands in."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TextIO, TypeVar

T = TypeVar("T")
NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?")
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
YES_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}


@dataclass(frozen=True, slots=True, order=True)
class SheetFault:
    """One thing wrong with a sheet, and where."""

    file: str
    line: int
    field: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}, line {self.line}"
        return (
            f"{where}, {self.field}: {self.message}" if self.field else f"{where}: {self.message}"
        )


class BadSheet(ValueError):
    """Raised with everything that is wrong with the sheets."""

    def __init__(self, faults: list[SheetFault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


@dataclass(slots=True)
class Line:
    """One row: cells by column, and what was wrong with those read so far."""

    file: str
    number: int
    cells: Mapping[str, str]
    faults: list[SheetFault] = field(default_factory=list)

    def wrong(self, column: str, message: str) -> None:
        """Note a fault of one cell."""
        self.faults.append(SheetFault(self.file, self.number, column, message))

    def text(self, column: str) -> str:
        """What stands in a cell; empty where the sheet has no such column."""
        return (self.cells.get(column) or "").strip()

    def _read(self, column: str, read: Callable[[str], T]) -> T | None:
        text = self.text(column)
        if not text:
            return None
        try:
            return read(text)
        except ValueError as wrong:
            self.wrong(column, str(wrong))
            return None

    def number_in(self, column: str) -> float | None:
        """A finite number; None where empty or wrong."""
        return self._read(column, number_of)

    def day_in(self, column: str) -> dt.date | None:
        """A day; None where empty or wrong."""
        return self._read(column, day_of)

    def yes_or_no(self, column: str) -> bool:
        """A yes or a no; no where empty or wrong."""
        return bool(self._read(column, yes_or_no_of))

    def one_of(self, column: str, known: Mapping[str, T], default: T) -> T:
        """One of some words; the default where empty or wrong."""

        def read(text: str) -> T:
            if text not in known:
                message = f"must be one of {', '.join(known)}, not “{text}”"
                raise ValueError(message)
            return known[text]

        found = self._read(column, read)
        return default if found is None else found


def number_of(text: str) -> float:
    """A plain decimal number; NaN, infinity and thousands separators are refused."""
    if not NUMBER.fullmatch(text) or not math.isfinite(float(text)):
        message = f"must be a number such as 2800 or 2.5, not “{text}”"
        raise ValueError(message)
    return float(text)


def day_of(text: str) -> dt.date:
    """A day of the calendar as YYYY-MM-DD."""
    if DAY.fullmatch(text):
        with contextlib.suppress(ValueError):
            return dt.date.fromisoformat(text)
    message = f"must be a day such as 2027-01-31, not “{text}”"
    raise ValueError(message)


def yes_or_no_of(text: str) -> bool:
    """Yes or no, true or false, 1 or 0."""
    if text.lower() not in YES_NO:
        message = f"must be yes or no, not “{text}”"
        raise ValueError(message)
    return YES_NO[text.lower()]


def lines_of(
    sheet: TextIO, file: str, *, required: tuple[str, ...], optional: tuple[str, ...]
) -> Iterator[Line]:
    """Rows of a CSV sheet whose first line names the columns; empty lines are passed over.

    Raises BadSheet for a sheet that is not CSV in UTF-8, or whose columns are not those.
    """
    reader = csv.reader(sheet, strict=True)
    try:
        heads = [head.strip() for head in next(reader, [])]
        faults = _column_faults(heads, file, required, optional)
        if faults:
            raise BadSheet(faults)
        for cells in reader:
            if any(cell.strip() for cell in cells):
                line = Line(file, reader.line_num, dict(zip(heads, cells, strict=False)))
                if len(cells) > len(heads):
                    line.wrong("", f"has {len(cells)} cells under {len(heads)} columns")
                yield line
    except csv.Error as wrong:
        raise BadSheet([SheetFault(file, reader.line_num, "", str(wrong))]) from None
    except UnicodeDecodeError:
        fault = SheetFault(file, reader.line_num + 1, "", "is not text in UTF-8")
        raise BadSheet([fault]) from None


def _column_faults(
    heads: list[str], file: str, required: tuple[str, ...], optional: tuple[str, ...]
) -> list[SheetFault]:
    known = {*required, *optional}
    found = [(name, "this column is missing") for name in required if name not in heads]
    found += [
        (name or "(no name)", "is not a column we know") for name in heads if name not in known
    ]
    found += [(name, "stands twice") for name in known if heads.count(name) > 1]
    return [SheetFault(file, 1, name, message) for name, message in found]
