"""Open a CSV or XLSX file as one sheet of rows, or refuse it in plain words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

MAX_BYTES = 20_000_000
MAX_ROWS = 100_000
MAX_COLUMNS = 200
HEAD_ROWS = 50
ROWS_SEARCHED_FOR_HEADINGS = 25


class SheetError(ValueError):
    """The file as a whole cannot be read; the message says why and what to do about it."""


class Uncalculated:
    """A cell whose formula was saved without its result."""

    def __repr__(self) -> str:
        return "a formula without its result"


UNCALCULATED = Uncalculated()
Cell = (
    str | int | float | bool | dt.datetime | dt.date | dt.time | dt.timedelta | Uncalculated | None
)


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row with its number in the file, counted as a spreadsheet or an editor counts."""

    line: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """Headings and a way to walk the rows, as often as wanted and without holding them all."""

    name: str
    headings: tuple[str, ...]
    walk: Callable[[], Iterator[SheetRow]]
    remarks: tuple[str, ...] = ()
    worksheet: str = ""  # the one read, in a workbook
    worksheets: tuple[str, ...] = ()  # all visible ones

    _head: list[SheetRow] = field(default_factory=list, repr=False, compare=False)

    def first_rows(self, count: int) -> list[SheetRow]:
        """Return up to `count` rows below the headings, at most HEAD_ROWS; read only once."""
        if not self._head:
            self._head.extend(row for row, _ in zip(self.walk(), range(HEAD_ROWS), strict=False))
        return self._head[:count]


def check_size(size: int) -> None:
    """Refuse a file that is empty or larger than a list of systems can be."""
    if size == 0:
        msg = "The file is empty."
        raise SheetError(msg)
    if size > MAX_BYTES:
        msg = (
            f"The file has {size / 1e6:.0f} MB; at most {MAX_BYTES / 1e6:.0f} MB can be brought in."
            " Save the list alone, without pictures, or split it."
        )
        raise SheetError(msg)


def find_headings(
    rows: Iterable[SheetRow], recognised: Callable[[str], bool]
) -> tuple[int, tuple[str, ...]]:
    """Return the line and the texts of the heading row among the first rows of a file.

    It is the row with most cells that are recognised as headings; titles above it are passed over.
    """
    best: tuple[int, SheetRow] | None = None
    for row, _ in zip(rows, range(ROWS_SEARCHED_FOR_HEADINGS), strict=False):
        score = sum(recognised(cell) for cell in row.cells if isinstance(cell, str))
        if score and (best is None or score > best[0]):
            best = (score, row)
    if best is None:
        msg = (
            "No row of headings was found: the first rows hold no word such as reference,"
            " address, postcode, installed, capacity or emptied."
        )
        raise SheetError(msg)
    return best[1].line, distinct_headings(best[1].cells)


def distinct_headings(cells: Sequence[Cell]) -> tuple[str, ...]:
    """Return one non-empty, distinct text per column."""
    if len(cells) > MAX_COLUMNS:
        msg = f"The file has {len(cells)} columns; at most {MAX_COLUMNS} are read."
        raise SheetError(msg)
    headings: list[str] = []
    for number, cell in enumerate(cells, start=1):
        text = " ".join(str(cell).split()) if cell is not None else ""
        text = text or f"Column {number}"
        headings.append(f"{text} ({number})" if text in headings else text)
    return tuple(headings)


def counted(rows: Iterable[SheetRow]) -> Iterator[SheetRow]:
    """Pass rows on, leaving out empty ones, and refuse the file when there are too many."""
    passed = 0
    for row in rows:
        if all(cell is None or cell == "" for cell in row.cells):
            continue
        passed += 1
        if passed > MAX_ROWS:
            msg = f"The file has more than {MAX_ROWS:,} rows: split it."
            raise SheetError(msg)
        yield row
