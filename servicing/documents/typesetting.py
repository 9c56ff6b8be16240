"""From pieces to PDF: tagged (PDF/UA-1), the same bytes for the same pieces, no network.

What people wrote reaches the layout as JSON text and is put on paper as text: the layout never
evaluates it, so no sign in it can become markup.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import asdict
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typst

from .blocks import day_words
from .qr import qr_svg
from .typeface import FILES, all_printable

if TYPE_CHECKING:
    from .blocks import Sheet

LAYOUTS = Path(__file__).with_name("layouts")
STANDARD: Final = "ua-1"


@cache
def fonts() -> typst.Fonts:
    """The one typeface of our papers, read once; never the machine's own."""
    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FILES)]
    )


def set_in_type(layout: str, told: dict[str, Any], on: dt.date) -> bytes:
    """PDF of a layout with what it is told; `on` is the day the file says it was made."""
    midnight = dt.datetime.combine(on, dt.time(), tzinfo=dt.UTC)
    pdf = typst.compile(
        str(LAYOUTS / f"{layout}.typ"),
        root=str(LAYOUTS),
        font_paths=fonts(),
        format="pdf",
        sys_inputs={"told": json.dumps(all_printable(told), ensure_ascii=False, default=str)},
        pdf_standards=STANDARD,
        timestamp=int(midnight.timestamp()),
    )
    assert isinstance(pdf, bytes)
    return pdf


def typeset(sheet: Sheet) -> bytes:
    """PDF of one paper."""
    told = asdict(sheet)
    stamp = sheet.stamp
    told["stamp"] = {
        **told["stamp"],
        "issued": day_words(stamp.issued_on),
        "qr": qr_svg(stamp.check_at) if stamp.check_at else "",
    }
    told["on"] = parts_of(stamp.issued_on)
    return set_in_type("sheet", told, stamp.issued_on)


def parts_of(day: dt.date) -> list[int]:
    """Year, month and day as numbers."""
    return [day.year, day.month, day.day]
