"""The handover pack: what the next owner must be told when premises are sold.

Rule 13 of the general binding rules for small sewage discharges (England): whoever hands the
system on gives the next operator a written notice that a small sewage discharge exists, with a
description of the system and of the maintenance it needs.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .blocks import (
    Block,
    Caution,
    Heading,
    Issuer,
    NewPage,
    Picture,
    Points,
    Sheet,
    Stamp,
    Table,
    Text,
    ToCheck,
    ToSign,
    day_words,
    known,
)
from .cautions import LOCAL_CODES, OWNER
from .location_plan import PlanPoint, distance_words, location_plan
from .service_record import Drawing
from .typesetting import typeset

DOWN_THE_DRAIN = (
    "Only water, toilet paper and what the body gives.",
    "No wipes, sanitary items, nappies or cat litter, whatever the packet says.",
    "No fat or oil: let it set and put it in the bin.",
    "No paint, solvent, medicine or garden chemical; bleach sparingly.",
    "No rain water from roofs or yards.",
    "Do not drive, build or plant trees over the tank or its field.",
)


@dataclass(frozen=True, kw_only=True)
class Duty:
    """Maintenance that is needed: what, how often, and who says so, and whether that is confirmed."""

    what: str
    how_often: str
    source: str
    confirmed: bool


@dataclass(frozen=True, kw_only=True)
class PackSystem:
    """One system of the pack. `history` is day, what was done and by whom, newest first."""

    name: str
    description: tuple[tuple[str, str], ...]
    parts: tuple[tuple[str, str], ...] = ()
    points: tuple[PlanPoint, ...] = ()
    position_note: str = ""
    duties: tuple[Duty, ...] = ()
    history: tuple[tuple[str, str, str], ...] = ()
    history_left_out: int = 0
    defects: tuple[str, ...] = ()
    next_due: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    level: Drawing | None = None


@dataclass(frozen=True, kw_only=True)
class HandoverPack:
    """Facts of a pack. `notice_law` names the rule that asks for a notice; empty: none confirmed."""

    issuer: Issuer
    place: str
    address: str
    compiled_on: dt.date
    systems: tuple[PackSystem, ...]
    notice_law: str = ""
    authority_notes: tuple[str, ...] = ()
    to_check: tuple[str, ...] = ()
    agreement: str = ""
    record_years: str = ""
    emergency_line: str = ""


def handover_pack(told: HandoverPack, stamp: Stamp) -> bytes:
    """PDF of the pack."""
    return typeset(handover_pack_sheet(told, stamp))


def handover_pack_sheet(told: HandoverPack, stamp: Stamp) -> Sheet:
    """The pack in pieces: the notice on a page of its own, then each system, then how to live."""
    return Sheet(
        title="Handover pack: drainage not connected to the public sewer",
        about=told.place,
        issuer=told.issuer,
        stamp=stamp,
        foot="Compiled from the records of the firm named at the top; not a survey.",
        blocks=(
            *_notice(told),
            *[block for one in told.systems for block in _system(one)],
            *_living_with_it(told),
        ),
    )


def _notice(told: HandoverPack) -> tuple[Block, ...]:
    names = tuple(one.name for one in told.systems)
    blocks: list[Block] = [
        Heading("Notice to the next owner or operator"),
        Text(
            f"The drainage of {told.address} is not connected to the public sewer. It has its own "
            "system, from which treated or settled sewage is discharged or taken away. Whoever "
            "uses it becomes its operator and answers for it."
        ),
        Points(names),
    ]
    if told.notice_law:
        blocks.append(known(("This notice is asked for by", told.notice_law)))
    blocks += [Text(one) for one in told.authority_notes]
    blocks += [ToCheck(one) for one in told.to_check]
    blocks += [
        known(
            ("Aftercare agreement", told.agreement),
            ("Keep the records for", told.record_years),
            ("Report pollution to", told.emergency_line),
        ),
        ToSign((("Handed over by (present operator)", ""), ("Received by (next operator)", ""))),
    ]
    return tuple(blocks)


def _system(one: PackSystem) -> tuple[Block, ...]:
    return (
        NewPage(),
        Heading(f"{one.name}: description"),
        known(*one.description, *one.parts),
        *((Caution("Put this right", one.warnings),) if one.warnings else ()),
        *_plan(one),
        *_maintenance(one),
        *_history(one),
    )


def _plan(one: PackSystem) -> tuple[Block, ...]:
    blocks: list[Block] = [Heading(f"{one.name}: where it lies")]
    if not one.points:
        return (*blocks, Text(one.position_note or "No position is recorded."))
    key = "; ".join(f"{at}: {point.label}" for at, point in enumerate(one.points, start=1))
    first = one.points[0]
    alt = f"Plan with north up. {key}. " + ". ".join(distance_words(one.points))
    blocks += [
        Picture(location_plan(one.points), alt, f"North up. {key}.", 82),
        Text(
            f"{first.label}: {first.latitude:.6f}, {first.longitude:.6f} (WGS 84). "
            + ". ".join(distance_words(one.points))
        ),
    ]
    if one.position_note:
        blocks.append(Text(one.position_note))
    return tuple(blocks)


def _maintenance(one: PackSystem) -> tuple[Block, ...]:
    blocks: list[Block] = [Heading(f"{one.name}: maintenance it needs")]
    rows = tuple(
        (duty.what, duty.how_often, duty.source if duty.confirmed else f"Check: {duty.source}")
        for duty in one.duties
    )
    if rows:
        blocks.append(
            Table("What, how often, and who says so", ("What", "How often", "By"), rows, (3, 2, 5))
        )
    if one.next_due:
        blocks.append(Points(one.next_due))
    return tuple(blocks)


def _history(one: PackSystem) -> tuple[Block, ...]:
    blocks: list[Block] = [Heading(f"{one.name}: history")]
    if one.history:
        blocks.append(
            Table("Visits, newest first", ("Day", "What was done", "By"), one.history, (2, 6, 3))
        )
    else:
        blocks.append(Text("No visit is recorded."))
    if one.history_left_out:
        blocks.append(Text(f"{one.history_left_out} older visits are kept in the register."))
    if one.defects:
        blocks += [Heading(f"{one.name}: defects not yet mended"), Points(one.defects)]
    if one.level:
        blocks.append(Heading(f"{one.name}: how full it is likely to be"))
        blocks.append(Picture(one.level.svg, one.level.alt, "Level when this was compiled", 100))
    return tuple(blocks)


def _living_with_it(told: HandoverPack) -> tuple[Block, ...]:
    return (
        NewPage(),
        Heading("Living with it"),
        Points(DOWN_THE_DRAIN),
        OWNER,
        LOCAL_CODES,
        Text(
            f"Compiled on {day_words(told.compiled_on)} from what is recorded. What is not "
            "recorded is not in it; nothing was opened or tested for it."
        ),
    )
