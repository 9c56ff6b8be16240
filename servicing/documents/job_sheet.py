"""The job sheet on paper: for the day on which the telephone stays in the cab."""

from __future__ import annotations

from dataclasses import dataclass

from .blocks import Blanks, Block, Heading, Issuer, Points, Sheet, Stamp, Text, ToSign, known
from .cautions import CREW, LOCAL_CODES
from .typesetting import typeset


@dataclass(frozen=True, kw_only=True)
class JobSheetFacts:
    """What a crew needs at one job; the gate code is not among it, for paper gets lost.

    `access` are name and value, `last_found` sentences of the last visit, `parts` the names of
    tanks and `chambers` those of chambers to be looked into.
    """

    issuer: Issuer
    work: str
    place: str
    address: str
    system: str
    promised: str = ""
    why: str = ""
    contact: str = ""
    cover: str = ""
    position: str = ""
    access: tuple[tuple[str, str], ...] = ()
    notes: str = ""
    to_take_out: str = ""
    last_found: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    chambers: tuple[str, ...] = ()
    is_plant: bool = False
    has_field: bool = False


def job_sheet(told: JobSheetFacts, stamp: Stamp) -> bytes:
    """PDF of the sheet."""
    return typeset(job_sheet_sheet(told, stamp))


def job_sheet_sheet(told: JobSheetFacts, stamp: Stamp) -> Sheet:
    """The sheet in pieces, in the order of the work."""
    return Sheet(
        title=f"Job sheet: {told.work.lower()}",
        about=f"{told.system}, {told.place}",
        issuer=told.issuer,
        stamp=stamp,
        foot="Bring this sheet back: what stands on it is entered the same day.",
        blocks=(
            *_way(told),
            CREW,
            LOCAL_CODES,
            *_before(told),
            *_work(told),
            *_after(),
        ),
    )


def _way(told: JobSheetFacts) -> tuple[Block, ...]:
    blocks: list[Block] = [
        Heading("Find the cover"),
        known(
            ("Where", told.address),
            ("Promised", told.promised),
            ("Why", told.why),
            ("Ring on site", told.contact),
            ("Cover", told.cover),
            ("Position", told.position),
            *told.access,
            ("To take out", told.to_take_out),
            ("Notes", told.notes),
        ),
    ]
    if told.last_found:
        blocks += [Heading("Last time"), Points(told.last_found)]
    return tuple(blocks)


def _before(told: JobSheetFacts) -> tuple[Block, ...]:
    lines: list[tuple[str, str]] = [
        ("Arrived", "time"),
        ("Ground: dry, wet, saturated, frozen", ""),
        ("Read as depths, from the cover, by notches or clear water", ""),
    ]
    for part in told.parts or ("Tank",):
        lines += [
            (f"{part}: liquid against the outlet (+ above)", "mm"),
            (f"{part}: sludge", "mm"),
            (f"{part}: scum", "mm"),
        ]
    return (Heading("Before anything is removed"), Blanks(tuple(lines)))


def _work(told: JobSheetFacts) -> tuple[Block, ...]:
    lines: list[tuple[str, str]] = [
        ("Taken out", "litres"),
        ("All compartments? If not, left behind", "litres"),
        ("Water ran back from the outlet?", "yes, no"),
        ("Refilled with water?", "yes, no"),
        ("Tipped at, ticket", ""),
    ]
    lines += [(f"{chamber}: found, amount, flow, done", "") for chamber in told.chambers]
    if told.has_field:
        lines.append(("Field: dry, damp, soft, ponding, sewage; smell?", ""))
    if told.is_plant:
        lines += [
            ("Blower running, filter cleaned, alarm works", ""),
            ("Effluent clear; settled sludge after 30 min", "mL/L"),
        ]
    lines.append(("Defects: note, repair or danger", ""))
    return (Heading("The work"), Blanks(tuple(lines)))


def _after() -> tuple[Block, ...]:
    return (
        Heading("Before you leave"),
        Blanks((("Cover back on, bolts in, photographed", "yes, no"), ("Left", "time"))),
        Text("Not done? Write why: no access, locked gate, lid seized, dog, ground too wet, …"),
        ToSign((("Crew", ""), ("Customer, or “not present, note left”", ""))),
    )
