"""Refused rows in a file that can be corrected and brought in again; cells made harmless."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterable
from pathlib import Path
from typing import IO

from .fields import REASON_HEADING, plain
from .rows import RowErrors
from .sheets import Cell, Uncalculated

# What a spreadsheet program would take for a formula; a plain negative number is none.
_RISKY = ("=", "+", "-", "@", "\t", "\r")
_NEGATIVE_NUMBER = re.compile(r"^-\d+(?:\.\d+)?$")


def defused(text: str) -> str:
    """Return a text that no spreadsheet program runs as a formula: an apostrophe goes before it."""
    if text.startswith(_RISKY) and not _NEGATIVE_NUMBER.match(text):
        return "'" + text
    return text


class RefusedFile:
    """Writes refused rows as CSV: the columns of the file they came in, and the reason."""

    def __init__(self, file: IO[str], headings: tuple[str, ...]) -> None:
        """Write the headings; a column of reasons from an earlier file gives way to the new."""
        self._kept = [index for index, text in enumerate(headings) if plain(text) != REASON_HEADING]
        self._writer = csv.writer(file)
        self._writer.writerow([*(defused(headings[index]) for index in self._kept), REASON_HEADING])

    def write(self, row: RowErrors) -> None:
        """Add one row."""
        texts = [
            defused(_written(row.cells[index])) if index < len(row.cells) else ""
            for index in self._kept
        ]
        self._writer.writerow([*texts, defused(row.reason)])


def write_refused(path: Path, headings: tuple[str, ...], rows: Iterable[RowErrors]) -> int:
    """Write refused rows to a file that spreadsheet programs open with accents; return how many."""
    count = 0
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        refused = RefusedFile(file, headings)
        for row in rows:
            refused.write(row)
            count += 1
    return count


def _written(cell: Cell) -> str:
    if cell is None or isinstance(cell, Uncalculated):
        return ""
    if isinstance(cell, dt.datetime):
        return (cell.date() if cell.time() == dt.time() else cell).isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)
