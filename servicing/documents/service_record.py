"""The service record: what was found and done on one visit, and when the next falls due."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .blocks import (
    Block,
    Facts,
    Heading,
    Issuer,
    NewPage,
    Picture,
    Points,
    Sheet,
    Stamp,
    Table,
    Text,
    day_words,
    known,
)
from .cautions import LOCAL_CODES, OWNER
from .typesetting import typeset

COVER_PHOTO_MM = 80


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A picture as SVG text with its words."""

    svg: str
    alt: str


@dataclass(frozen=True, kw_only=True)
class ServiceRecord:
    """Facts of one visit; every figure is written out in the reader's own units.

    `readings` are part, what was measured, value and how; `chambers` are label, what lay in it,
    how much, flow and what was done; `defects` are severity and what. `photo_sha256` is the digest
    of the file that `cover_photo` was drawn from.
    """

    issuer: Issuer
    place: str
    address: str
    system: str
    registration: str = ""
    visited_on: dt.date
    times: str = ""
    crew: str = ""
    vehicle: str = ""
    ground: str = ""
    present: str = ""
    carried_out_by_others: bool = False
    abandoned_because: str = ""
    removed: tuple[tuple[str, str], ...] = ()
    readings: tuple[tuple[str, str, str, str], ...] = ()
    chambers: tuple[tuple[str, str, str, str, str], ...] = ()
    field: str = ""
    plant: tuple[tuple[str, str], ...] = ()
    defects: tuple[tuple[str, str], ...] = ()
    cover_back: bool = False
    signed: str = ""
    photos: str = ""
    photo_sha256: str = ""
    notes: str = ""
    next_due: str = ""
    next_because: tuple[str, ...] = ()
    level: Drawing | None = None
    chart: Drawing | None = None
    cover_photo: Drawing | None = None


def service_record(told: ServiceRecord, stamp: Stamp) -> bytes:
    """PDF of the record."""
    return typeset(service_record_sheet(told, stamp))


def service_record_sheet(told: ServiceRecord, stamp: Stamp) -> Sheet:
    """The record in pieces."""
    title = "Record of a visit not carried out" if told.abandoned_because else "Service record"
    return Sheet(
        title=title,
        about=f"{told.system}, {told.place}",
        issuer=told.issuer,
        stamp=stamp,
        foot="Keep this record: it shows how the system was looked after.",
        blocks=(
            *_visit(told),
            *_found(told),
            *_next(told),
            OWNER,
            LOCAL_CODES,
        ),
    )


def _visit(told: ServiceRecord) -> tuple[Block, ...]:
    others = "somebody else; recorded from what we were shown" if told.carried_out_by_others else ""
    cover = "Back on and fastened when we left" if told.cover_back else ""
    return (
        Heading("The visit"),
        known(
            ("Day", day_words(told.visited_on)),
            ("On site", told.times),
            ("Where", told.address),
            ("System", told.system),
            ("Registration or consent", told.registration),
            ("Crew", told.crew),
            ("Vehicle", told.vehicle),
            ("Carried out by", others),
            ("Ground", told.ground),
            ("Present", told.present),
            ("Could not be done", told.abandoned_because),
            ("Cover", cover),
            ("Signed", told.signed),
            ("Photographs", told.photos),
        ),
    )


def _found(told: ServiceRecord) -> tuple[Block, ...]:
    lines = tuple(f"{severity}: {what}" for severity, what in told.defects)
    return (
        *_under("Taken out", Facts(told.removed) if told.removed else None),
        *_under("Level", *_level(told)),
        *_under("Chambers", _chambers(told) if told.chambers else None),
        *_under("Drainage field", Text(told.field) if told.field else None),
        *_under("Plant", Facts(told.plant) if told.plant else None),
        *_under("Defects", Points(lines) if lines else None),
        *_under("Notes", Text(told.notes) if told.notes else None),
        *_under("Cover back on", _cover_photo(told)),
    )


def _cover_photo(told: ServiceRecord) -> Block | None:
    if told.cover_photo is None:
        return None
    caption = "The cover as it was left"
    return Picture(told.cover_photo.svg, told.cover_photo.alt, caption, COVER_PHOTO_MM)


def _under(heading: str, *pieces: Block | None) -> list[Block]:
    """Pieces under their heading; nothing at all where there is none."""
    there = [piece for piece in pieces if piece is not None]
    return [Heading(heading), *there] if there else []


def _level(told: ServiceRecord) -> tuple[Block | None, Block | None]:
    head = ("Part", "Measured", "Reading", "How")
    table = Table("What was measured", head, told.readings, (3, 3, 2, 3))
    if told.level is None:
        return (table if told.readings else None, None)
    caption = "The tank when this record was issued"
    picture = Picture(told.level.svg, told.level.alt, caption, 105)
    return (table if told.readings else None, picture)


def _chambers(told: ServiceRecord) -> Block:
    head = ("Chamber", "Found", "Amount", "Flow", "Done")
    return Table("What lay in each chamber", head, told.chambers)


def _next(told: ServiceRecord) -> tuple[Block, ...]:
    if not told.next_due and not told.chart:
        return ()
    blocks: list[Block] = [NewPage()] if told.chart else []
    blocks.append(Heading("What comes next"))
    if told.next_due:
        blocks.append(Facts((("Next emptying", told.next_due),)))
    if told.next_because:
        blocks.append(Points(told.next_because))
    if told.chart:
        blocks.append(Picture(told.chart.svg, told.chart.alt, "Found and expected", 170))
    return tuple(blocks)
