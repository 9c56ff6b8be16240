"""CSV files in whatever encoding and with whatever delimiter they come."""

from __future__ import annotations

import codecs
import csv
from collections import Counter
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import charset_normalizer

from .fields import is_heading
from .sheets import Cell, Sheet, SheetError, SheetRow, counted, find_headings

DELIMITERS = ",;\t|"
SAMPLE_BYTES = 200_000
LINE_SAMPLE = 20_000
BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
# The encodings lists of this trade come in; a free guess among a hundred is wrong more often.
LIKELY_ENCODINGS = ["cp1252", "mac_roman", "cp850", "iso8859_14"]


def open_csv(path: Path, name: str, encoding: str = "") -> Sheet:
    """Open a CSV file as a sheet; raise SheetError when it is no text or has no headings."""
    encoding = _chosen(path, encoding) if encoding else guess_encoding(path)
    delimiter = guess_delimiter(path, encoding)
    heading_line, headings = find_headings(_walk(path, encoding, delimiter), is_heading)

    def walk() -> Iterator[SheetRow]:
        rows = _walk(path, encoding, delimiter)
        return counted(row for row in rows if row.line > heading_line)

    remarks = () if encoding.startswith("utf") else (f"Read in the encoding {encoding}.",)
    return Sheet(name, headings, walk, remarks)


def _chosen(path: Path, encoding: str) -> str:
    try:
        known = codecs.lookup(encoding).name
    except LookupError:
        msg = f"“{encoding}” is not an encoding: try utf-8, cp1252, mac_roman or cp850."
        raise SheetError(msg) from None
    if not _decodes(path, known):
        msg = f"The file is not written in the encoding {encoding}."
        raise SheetError(msg)
    return known


def guess_encoding(path: Path) -> str:
    """Return the encoding: by its mark, as UTF-8 when the whole file is, else the likeliest."""
    with path.open("rb") as file:
        sample = file.read(SAMPLE_BYTES)
    for mark, encoding in BYTE_ORDER_MARKS:
        if sample.startswith(mark):
            return encoding
    if b"\x00" in sample:
        msg = "This is not text: bring a CSV or an XLSX file."
        raise SheetError(msg)
    if _decodes(path, "utf-8"):
        return "utf-8"
    # Lines without accents say nothing about the encoding and drown those that do.
    telling = b"\n".join(line for line in sample.splitlines() if not line.isascii())
    best = charset_normalizer.from_bytes(telling, cp_isolation=LIKELY_ENCODINGS).best()
    guessed = best.encoding if best else "cp1252"
    return guessed if _decodes(path, guessed) else "latin-1"


def guess_delimiter(path: Path, encoding: str) -> str:
    """Return the delimiter that cuts most of the first lines into the same number of cells."""
    with path.open(encoding=encoding, newline="") as file:
        lines = [line[:LINE_SAMPLE] for line in islice(file, 30)]

    def score(delimiter: str) -> int:
        widths = Counter(len(row) for row in csv.reader(lines, delimiter=delimiter) if row)
        width, times = max(widths.items(), key=lambda item: (item[0] > 1, item[1], item[0]))
        return times * width if width > 1 else 0

    return max(DELIMITERS, key=score)


def _walk(path: Path, encoding: str, delimiter: str) -> Iterator[SheetRow]:
    with path.open(encoding=encoding, newline="") as file:
        reader = csv.reader(file, delimiter=delimiter, skipinitialspace=True)
        line = 1
        try:
            for row in reader:
                cells: tuple[Cell, ...] = tuple(row)
                yield SheetRow(line, cells)
                line = reader.line_num + 1
        except csv.Error as error:
            msg = f"Line {line} cannot be read as CSV: {error}."
            raise SheetError(msg) from error


def _decodes(path: Path, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    try:
        with path.open("rb") as file:
            while chunk := file.read(1 << 16):
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True
