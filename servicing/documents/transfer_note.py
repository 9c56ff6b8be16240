"""The waste transfer note: what each country asks for, and what speaks against printing one."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .blocks import Block, Heading, Issuer, Sheet, Stamp, ToCheck, ToSign, day_words, known
from .note_fields import HOUSEHOLDERS, REGULATIONS, UNKNOWN_LAW, asked_for
from .typesetting import typeset

HOUSEHOLD = "none: household"


@dataclass(frozen=True, kw_only=True)
class Side:
    """Whoever hands the waste over, or takes it."""

    name: str
    address: str
    postcode: str = ""
    status: str = ""
    number: str = ""
    signed_by: str = ""


@dataclass(frozen=True, kw_only=True)
class Waste:
    """What is handed over. `code_is_law` says whether the code is confirmed for this waste."""

    code: str
    code_is_law: bool
    code_source: str
    description: str
    quantity: str
    litres: float | None
    containment: str = "Loose, in the tank of the vehicle; no containers"


@dataclass(frozen=True, kw_only=True)
class Registration:
    """A carrier's registration and the days on which it holds."""

    number: str
    valid_from: dt.date | None
    valid_to: dt.date | None


@dataclass(frozen=True, kw_only=True)
class TransferNote:
    """Facts of one transfer. `country` is the code of a country profile."""

    issuer: Issuer
    country: str
    waste: Waste
    transferred_on: dt.date
    transferred_at: str
    place: str
    transferor: Side
    activity_code: str
    carrier: Side
    registration: Registration
    vehicle: str = ""
    origin: str = ""
    destination: str = ""
    destination_ticket: str = ""
    destination_permit: str = ""
    system: str = ""


def why_not_carrier(registration: Registration, on: dt.date) -> str:
    """Why this carrier may not be named on a note of the day; empty where it may."""
    if not registration.number:
        return "The carrier's registration number is not recorded. Put it in the settings."
    if registration.valid_to is None:
        return (
            "The day on which the carrier's registration runs out is not recorded. Put it in the "
            "settings."
        )
    if registration.valid_to < on:
        ended = day_words(registration.valid_to)
        return (
            f"The carrier's registration ran out on {ended}, before this transfer. No note can be "
            "issued. If it was renewed in time, put the new dates in the organisation's settings."
        )
    if registration.valid_from is not None and registration.valid_from > on:
        begins = day_words(registration.valid_from)
        return f"The carrier's registration holds only from {begins}, after this transfer."
    return ""


def why_not(note: TransferNote) -> tuple[str, ...]:
    """What speaks against printing the note; empty where nothing does."""
    said = {key: bool(value) for key, value in said_on(note).items()}
    missing = [
        f"{field.name} is missing: {field.how}"
        for field in asked_for(note.country)
        if not said[field.key]
    ]
    carrier = why_not_carrier(note.registration, note.transferred_on)
    return tuple([carrier, *missing] if carrier else missing)


def said_on(note: TransferNote) -> dict[str, str]:
    """What the note says for each field, by the key of the field."""
    return {
        "code": note.waste.code,
        "description": note.waste.description,
        "quantity": note.waste.quantity if note.waste.litres else "",
        "containment": note.waste.containment,
        "date": day_words(note.transferred_on),
        "time": note.transferred_at,
        "place": note.place,
        "activity": note.activity_code,
        "transferor": note.transferor.name and note.transferor.address,
        "transferee": note.carrier.name and note.carrier.address,
        "postcodes": note.transferor.postcode,
        "transferor_status": note.transferor.status,
        "transferee_status": note.carrier.status,
        "hierarchy": "confirmed by the transferor's signature",
        "origin": note.origin,
        "destination": note.destination,
        "signatures": "lines for both",
    }


def transfer_note(note: TransferNote, stamp: Stamp) -> bytes:
    """PDF of the note."""
    return typeset(transfer_note_sheet(note, stamp))


def transfer_note_sheet(note: TransferNote, stamp: Stamp) -> Sheet:
    """The note in pieces."""
    return Sheet(
        title="Waste transfer note",
        about=note.system,
        issuer=note.issuer,
        stamp=stamp,
        foot="Both sides keep this note for at least two years.",
        blocks=(
            *what_passes(note.waste),
            *_where(note),
            *sides(note),
            *declaration(note),
            ToSign(
                (
                    ("Transferor", note.transferor.signed_by),
                    ("Transferee (carrier)", note.carrier.signed_by),
                )
            ),
        ),
    )


def what_passes(waste: Waste) -> tuple[Block, ...]:
    """The waste."""
    standing = "" if waste.code_is_law else f"Check: {waste.code_source}"
    return (
        Heading("The waste"),
        known(
            ("List of Wastes (EWC) code", waste.code, standing),
            ("Description", waste.description),
            ("Quantity", waste.quantity),
            ("Loose or contained", waste.containment),
        ),
    )


def _where(note: TransferNote) -> tuple[Block, ...]:
    return (
        Heading("The transfer"),
        known(
            ("Date", day_words(note.transferred_on)),
            ("Time", note.transferred_at),
            ("Place of transfer", note.place),
            ("Origin", note.origin),
            ("Destination", note.destination),
            ("Permit of the works", note.destination_permit),
            ("Ticket of the works", note.destination_ticket),
            ("Vehicle", note.vehicle),
        ),
    )


def sides(note: TransferNote) -> tuple[Block, ...]:
    """Who hands over and who takes."""
    registration = note.registration
    valid = f"registered until {day_words(registration.valid_to)}"
    return (
        Heading("Transferor: who hands the waste over"),
        known(
            ("Name", note.transferor.name),
            ("Address", note.transferor.address),
            ("Is", note.transferor.status),
            ("SIC code of the activity", note.activity_code),
        ),
        Heading("Transferee: who takes it"),
        known(
            ("Name", note.carrier.name),
            ("Address", note.carrier.address),
            ("Is", note.carrier.status),
            ("Registration number", registration.number, valid),
        ),
    )


def declaration(note: TransferNote) -> tuple[Block, ...]:
    """What the signatures confirm, and the rule that asks for it."""
    law = REGULATIONS.get(note.country)
    blocks: list[Block] = [Heading("What is confirmed by signing")]
    if law is None:
        return (*blocks, ToCheck(UNKNOWN_LAW))
    pairs = [("Particulars as asked for by", law.name)]
    if law.hierarchy:
        pairs.append(("Waste hierarchy", law.hierarchy))
    blocks.append(known(*pairs))
    blocks += [ToCheck(one) for one in law.to_check]
    if note.activity_code == HOUSEHOLD:
        blocks.append(ToCheck(HOUSEHOLDERS))
    return tuple(blocks)
