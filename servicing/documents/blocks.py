"""What a paper is made of: plain pieces in reading order, which the layout sets in type."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Issuer:
    """Whoever stands behind a paper."""

    name: str
    address: str = ""
    phone: str = ""
    email: str = ""


@dataclass(frozen=True, kw_only=True)
class Stamp:
    """Number, day and proof of a paper; `replaces` is the number of the one it puts right.

    `check_at` is the address at which anybody may see whether the paper still stands.
    """

    number: str
    issued_on: dt.date
    check_at: str = ""
    replaces: str = ""
    replaces_because: str = ""


@dataclass(frozen=True)
class Heading:
    """A heading of the second rank; the title of the paper is the first."""

    text: str
    kind: str = field(default="heading", init=False)


@dataclass(frozen=True)
class Text:
    """A paragraph; a line break in it stays one."""

    text: str
    soft: bool = False
    kind: str = field(default="text", init=False)


@dataclass(frozen=True)
class Points:
    """A list of points, or of steps where their order counts."""

    lines: tuple[str, ...]
    numbered: bool = False
    kind: str = field(default="points", init=False)


@dataclass(frozen=True)
class Facts:
    """Names and what they are. A pair may carry a third text: a note set small under it."""

    pairs: tuple[tuple[str, ...], ...]
    kind: str = field(default="facts", init=False)


@dataclass(frozen=True)
class Table:
    """Rows under headings; `widths` are shares, and `figures` names columns set to the right."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = ()
    figures: tuple[int, ...] = ()
    kind: str = field(default="table", init=False)


@dataclass(frozen=True)
class Picture:
    """An SVG with the words for who cannot see it; width in millimetres."""

    svg: str
    alt: str
    caption: str = ""
    width_mm: float = 110
    kind: str = field(default="picture", init=False)


@dataclass(frozen=True)
class Caution:
    """Words that keep somebody alive, framed."""

    title: str
    lines: tuple[str, ...]
    kind: str = field(default="caution", init=False)


@dataclass(frozen=True)
class ToCheck:
    """Something said that is not confirmed law: marked with the word check."""

    text: str
    kind: str = field(default="check", init=False)


@dataclass(frozen=True)
class ToSign:
    """Lines to sign on: who signs, and the name already known."""

    signers: tuple[tuple[str, str], ...]
    kind: str = field(default="sign", init=False)


@dataclass(frozen=True)
class Blanks:
    """Lines to be filled in by hand: what to write, and the unit it is written in."""

    lines: tuple[tuple[str, str], ...]
    kind: str = field(default="blanks", init=False)


@dataclass(frozen=True)
class NewPage:
    """What follows begins on a page of its own."""

    kind: str = field(default="page", init=False)


Block = (
    Heading
    | Text
    | Points
    | Facts
    | Table
    | Picture
    | Caution
    | ToCheck
    | ToSign
    | Blanks
    | NewPage
)


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A whole paper, ready to be set."""

    title: str
    issuer: Issuer
    stamp: Stamp
    blocks: tuple[Block, ...]
    about: str = ""
    foot: str = ""


def known(*pairs: tuple[str, ...]) -> Facts:
    """Facts of which something is known; the others are left out."""
    return Facts(tuple(pair for pair in pairs if pair[1]))


def day_words(day: dt.date | None) -> str:
    """A date as people write it: 4 May 2027; empty where there is none."""
    return f"{day.day} {day:%B %Y}" if day else ""
