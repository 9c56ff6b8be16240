"""Keeping a text to the letters our typeface has, so that no name can stop the press.

PDF/UA (ISO 14289-1) forbids letters without a shape, and the compiler refuses them.
"""

from __future__ import annotations

import struct
import unicodedata
from functools import cache
from pathlib import Path
from typing import Any

import fontpkg_atkinson_hyperlegible as family

FILES = Path(family.__file__).with_name("files")
STAND_IN = "?"
LINE_BREAKS = dict.fromkeys(map(ord, "\r\v\f\x1c\x1d\x1e\x85\u2028\u2029"), "\n")
# Shown as they are, or not at all, without a shape of their own.
SPACES = dict.fromkeys(
    map(ord, "\t\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009"), " "
)
SPACES |= dict.fromkeys(map(ord, "\u00a0\u200a\u202f\u205f\u3000"), " ")


@cache
def letters() -> frozenset[int]:
    """Code points that every face of the family has a shape for."""
    faces = [code_points(file.read_bytes()) for file in sorted(FILES.glob("*.ttf"))]
    return frozenset.intersection(*faces)


def code_points(font: bytes) -> frozenset[int]:
    """Code points in the format 4 tables of a font's cmap (ISO/IEC 14496-22, 5.2)."""
    (tables,) = struct.unpack_from(">H", font, 4)
    records = [struct.unpack_from(">4s4xII", font, 12 + 16 * index) for index in range(tables)]
    start = next(offset for name, offset, _ in records if name == b"cmap")
    (count,) = struct.unpack_from(">H", font, start + 2)
    found: set[int] = set()
    for index in range(count):
        (offset,) = struct.unpack_from(">I", font, start + 4 + 8 * index + 4)
        if struct.unpack_from(">H", font, start + offset) == (4,):
            found |= _of_format_4(font, start + offset)
    return frozenset(found)


def _of_format_4(font: bytes, at: int) -> set[int]:
    (doubled,) = struct.unpack_from(">H", font, at + 6)
    segments = doubled // 2
    ends = struct.unpack_from(f">{segments}H", font, at + 14)
    starts = struct.unpack_from(f">{segments}H", font, at + 16 + doubled)
    deltas = struct.unpack_from(f">{segments}H", font, at + 16 + 2 * doubled)
    ranges_at = at + 16 + 3 * doubled
    ranges = struct.unpack_from(f">{segments}H", font, ranges_at)
    found: set[int] = set()
    for index, (first, last) in enumerate(zip(starts, ends, strict=True)):
        for code in range(first, min(last, 0xFFFE) + 1):
            glyph = code
            if ranges[index]:
                place = ranges_at + 2 * index + ranges[index] + 2 * (code - first)
                (glyph,) = struct.unpack_from(">H", font, place)
            if (glyph and ranges[index]) or (not ranges[index] and (code + deltas[index]) % 65536):
                found.add(code)
    return found


def printable(text: str) -> str:
    """The text in letters we have: accents go before a whole letter does, a `?` comes last."""
    plain = unicodedata.normalize("NFC", text).translate(LINE_BREAKS).translate(SPACES)
    return "".join(one if ord(one) in letters() or one == "\n" else _nearest(one) for one in plain)


def _nearest(one: str) -> str:
    if unicodedata.category(one) in {"Cc", "Cf", "Mn", "Me"}:
        return ""
    parts = [part for part in unicodedata.normalize("NFKD", one) if ord(part) in letters()]
    return "".join(parts) or STAND_IN


def all_printable(told: Any) -> Any:
    """What a layout is told, with every text in it printable."""
    if isinstance(told, str):
        return printable(told)
    if isinstance(told, dict):
        return {key: all_printable(one) for key, one in told.items()}
    if isinstance(told, list | tuple):
        return [all_printable(one) for one in told]
    return told
