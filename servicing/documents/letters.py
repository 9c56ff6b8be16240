"""Letters: one or a thousand in one file, each beginning on its own page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from typing import Any

from .blocks import Issuer, day_words
from .qr import qr_svg
from .typesetting import parts_of, set_in_type


@dataclass(frozen=True, kw_only=True)
class Frame:
    """What stands round the words of a letter, in the language of who reads it."""

    language: str = "en"
    written: str = ""  # the day in words; empty: in English
    reference: str = "Our reference:"
    scan: str = "Scan for your own page"
    picture: str = "QR code of your own page:"


@dataclass(frozen=True, kw_only=True)
class Letter:
    """One letter. `paragraphs` are set as they are written; `link` is an address to scan.

    Nobody types a signed address off paper, so where there is one it stands as a QR code too.
    """

    issuer: Issuer
    to_name: str
    to_lines: tuple[str, ...]
    subject: str
    paragraphs: tuple[str, ...]
    reference: str = ""
    link: str = ""
    frame: Frame = Frame()


def letters(
    told: Iterable[Letter],
    *,
    written_on: dt.date,
    title: str = "Letters",
    progress: Callable[[int], None] | None = None,
) -> bytes:
    """PDF of all letters in the order given; `progress` hears how many are laid out so far.

    Raises ValueError where there is no letter.
    """
    laid_out: list[dict[str, Any]] = []
    for one in told:
        qr = qr_svg(one.link) if one.link else ""
        written = one.frame.written or day_words(written_on)
        laid_out.append({**asdict(one), "qr": qr, "written": written})
        if progress is not None:
            progress(len(laid_out))
    if not laid_out:
        message = "There is no letter to print."
        raise ValueError(message)
    heading = laid_out[0]["subject"] if len(laid_out) == 1 else title
    about = {
        "title": heading,
        "letters": laid_out,
        "on": parts_of(written_on),
    }
    return set_in_type("letters", about, written_on)


def due_letter(told: Letter, *, written_on: dt.date) -> bytes:
    """PDF of one letter."""
    return letters([told], written_on=written_on)


def paragraphs_of(text: str) -> tuple[str, ...]:
    """Paragraphs of a plain text: what empty lines divide."""
    parts = text.replace("\r\n", "\n").split("\n\n")
    return tuple(part.strip() for part in parts if part.strip())
