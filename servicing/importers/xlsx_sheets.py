"""XLSX workbooks, streamed; formulas count by the result saved with them."""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

import openpyxl

from .fields import is_heading
from .sheets import (
    MAX_COLUMNS,
    UNCALCULATED,
    Cell,
    Sheet,
    SheetError,
    SheetRow,
    counted,
    find_headings,
)

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook

MAX_UNPACKED_BYTES = 400_000_000
MAX_EMPTY_ROWS_IN_A_ROW = 1_000


def open_xlsx(path: Path, name: str, worksheet: str = "") -> Sheet:
    """Open one worksheet of a workbook: the one named, else the one with most known headings."""
    has_formulas = _inspect(path)
    titles = _visible_titles(path)
    if worksheet and worksheet not in titles:
        msg = f"The workbook has no sheet “{worksheet}”; it has: {', '.join(titles)}."
        raise SheetError(msg)
    title, heading_line, headings = _with_headings(path, [worksheet] if worksheet else titles)

    def walk() -> Iterator[SheetRow]:
        rows = _walk(path, title, has_formulas=has_formulas)
        return counted(row for row in rows if row.line > heading_line)

    others = [other for other in titles if other != title]
    remarks = (f"Read the sheet “{title}”, not {', '.join(others)}.",) if others else ()
    return Sheet(name, headings, walk, remarks, title, tuple(titles))


def _inspect(path: Path) -> bool:
    """Refuse what is no workbook or unpacks too large; return whether any sheet holds a formula."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            if sum(member.file_size for member in members) > MAX_UNPACKED_BYTES:
                msg = "The workbook unpacks to more than 400 MB: save the list alone as CSV."
                raise SheetError(msg)
            if "xl/workbook.xml" not in archive.namelist():
                msg = "This is not an XLSX workbook: save the list as .xlsx or CSV."
                raise SheetError(msg)
            sheets = [m for m in members if m.filename.startswith("xl/worksheets/sheet")]
            return any(_has_formula(archive, member) for member in sheets)
    except zipfile.BadZipFile as error:
        msg = "The workbook is damaged: open it in a spreadsheet program and save it again."
        raise SheetError(msg) from error


def _has_formula(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> bool:
    tail = b""
    with archive.open(member) as file:
        while chunk := file.read(1 << 16):
            block = tail + chunk
            if b"<f>" in block or b"<f " in block or b"<f/>" in block:
                return True
            tail = block[-3:]
    return False


@contextmanager
def _opened(path: Path, *, results: bool) -> Iterator[Workbook]:
    # A file instead of its name: by name the library insists on an ending that uploads lack.
    with path.open("rb") as file:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", UserWarning)  # styles and extensions not needed
                workbook = openpyxl.load_workbook(file, read_only=True, data_only=results)
        except Exception as error:
            msg = "The workbook is damaged: open it in a spreadsheet program and save it again."
            raise SheetError(msg) from error
        try:
            yield workbook
        finally:
            workbook.close()


def _visible_titles(path: Path) -> list[str]:
    with _opened(path, results=True) as workbook:
        titles = [sheet.title for sheet in workbook.worksheets if sheet.sheet_state == "visible"]
    if not titles:
        msg = "The workbook has no visible sheet."
        raise SheetError(msg)
    return titles


def _with_headings(path: Path, titles: list[str]) -> tuple[str, int, tuple[str, ...]]:
    found: list[tuple[int, str, int, tuple[str, ...]]] = []
    refusal: SheetError | None = None
    for title in titles:
        try:
            line, headings = find_headings(_walk(path, title, has_formulas=False), is_heading)
        except SheetError as error:
            refusal = error
            continue
        found.append((sum(is_heading(text) for text in headings), title, line, headings))
    if not found:
        raise refusal or SheetError
    _, title, line, headings = max(found, key=lambda one: one[0])
    return title, line, headings


def _walk(path: Path, title: str, *, has_formulas: bool) -> Iterator[SheetRow]:
    results = _raw_rows(path, title, results=True)
    if not has_formulas:
        for line, cells in results:
            yield SheetRow(line, cells)
        return
    formulas = _raw_rows(path, title, results=False)
    for (line, cells), (_, written) in zip(results, formulas, strict=False):
        pairs = zip_longest(cells, written)
        yield SheetRow(line, tuple(_uncalculated(cell, text) for cell, text in pairs))


def _uncalculated(result: Cell, written: Any) -> Cell:
    is_formula = (isinstance(written, str) and written.startswith("=")) or (
        written is not None and type(written).__name__.endswith("Formula")
    )
    return UNCALCULATED if result is None and is_formula else result


def _raw_rows(path: Path, title: str, *, results: bool) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    with _opened(path, results=results) as workbook:
        try:
            sheet: Any = workbook[title]
            sheet.reset_dimensions()
            empty = 0
            for line, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
                kept = _trimmed(cells)
                empty = 0 if kept else empty + 1
                if empty > MAX_EMPTY_ROWS_IN_A_ROW:
                    return
                yield line, kept
        except (KeyError, ValueError, SyntaxError, zipfile.BadZipFile) as error:
            if isinstance(error, SheetError):
                raise
            msg = f"The sheet “{title}” is damaged: save it again in a spreadsheet program."
            raise SheetError(msg) from error


def _trimmed(cells: tuple[Any, ...]) -> tuple[Cell, ...]:
    last = max((number for number, cell in enumerate(cells, 1) if cell is not None), default=0)
    if last > MAX_COLUMNS:
        msg = f"The sheet has {last} columns; at most {MAX_COLUMNS} are read."
        raise SheetError(msg)
    return cells[:last]
