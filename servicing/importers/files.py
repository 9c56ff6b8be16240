"""A file somebody brings: by its first bytes a workbook, text, or something we cannot read."""

from __future__ import annotations

from pathlib import Path

from .csv_sheets import open_csv
from .sheets import Sheet, SheetError, check_size
from .xlsx_sheets import open_xlsx


def open_sheet(path: Path, *, name: str = "", worksheet: str = "", encoding: str = "") -> Sheet:
    """Open the file as a sheet.

    `name` is what the user calls the file, if not the path's own name; `encoding` goes before the
    one guessed for a text file; `worksheet` before the one with most known headings. Raises
    SheetError when it is too big, of another kind, empty, or without headings.
    """
    called = name or path.name
    check_size(path.stat().st_size)
    with path.open("rb") as file:
        start = file.read(8)
    if start.startswith(b"PK\x03\x04"):
        return open_xlsx(path, called, worksheet)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        msg = "This is an old .xls file: open it in a spreadsheet program, save it as .xlsx or CSV."
        raise SheetError(msg)
    if start.startswith((b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8", b"\x1f\x8b")):
        msg = "This is not a list: bring a CSV or an XLSX file."
        raise SheetError(msg)
    return open_csv(path, called, encoding)
