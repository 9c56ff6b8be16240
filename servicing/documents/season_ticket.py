"""The season ticket: one note for repeated collections of the same waste, with its schedule."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .blocks import Block, Heading, Sheet, Stamp, Table, Text, ToCheck, ToSign, day_words, known
from .note_fields import asked_for
from .transfer_note import (
    TransferNote,
    declaration,
    said_on,
    sides,
    what_passes,
    why_not_carrier,
)
from .typesetting import typeset

# Stand on the schedule, once a collection.
OF_EACH_COLLECTION = {"quantity", "time", "date"}
SCHEDULE_LINES = 14


@dataclass(frozen=True, kw_only=True)
class Collection:
    """One line of the schedule."""

    on: dt.date
    at: str
    quantity: str
    site: str
    record: str = ""


@dataclass(frozen=True, kw_only=True)
class SeasonTicket:
    """Facts of a season: what stays the same, and what was collected so far."""

    note: TransferNote
    begins_on: dt.date
    ends_on: dt.date
    collections: tuple[Collection, ...] = ()


def last_day(begins_on: dt.date) -> dt.date:
    """Last day a ticket may cover: twelve months from the first, that day included."""
    try:
        anniversary = begins_on.replace(year=begins_on.year + 1)
    except ValueError:  # begun on 29 February
        anniversary = dt.date(begins_on.year + 1, 3, 1)
    return anniversary - dt.timedelta(days=1)


def why_not_season(ticket: SeasonTicket) -> tuple[str, ...]:
    """What speaks against printing the ticket; empty where nothing does."""
    note, reasons = ticket.note, []
    if ticket.ends_on < ticket.begins_on:
        reasons.append("The season ends before it begins.")
    elif ticket.ends_on > last_day(ticket.begins_on):
        reasons.append("A season ticket covers twelve months at most.")
    for day in (ticket.begins_on, ticket.ends_on):
        if (reason := why_not_carrier(note.registration, day)) and reason not in reasons:
            reasons.append(reason)
    said = said_on(note)
    reasons += [
        f"{field.name} is missing: {field.how}"
        for field in asked_for(note.country)
        if field.key not in OF_EACH_COLLECTION and not said[field.key]
    ]
    return tuple(reasons)


def season_ticket(ticket: SeasonTicket, stamp: Stamp) -> bytes:
    """PDF of the ticket with its schedule."""
    return typeset(season_ticket_sheet(ticket, stamp))


def season_ticket_sheet(ticket: SeasonTicket, stamp: Stamp) -> Sheet:
    """The ticket in pieces."""
    note = ticket.note
    return Sheet(
        title="Waste transfer note: season ticket",
        about=note.system,
        issuer=note.issuer,
        stamp=stamp,
        foot="Both sides keep this ticket for at least two years after its last collection.",
        blocks=(
            Heading("The season"),
            known(
                ("From", day_words(ticket.begins_on)),
                ("Until", day_words(ticket.ends_on)),
                ("Place of transfer", note.place),
                ("Origin", note.origin),
                ("Destination", note.destination),
            ),
            Text(
                "It holds only while the holder, the carrier and the kind of waste stay as they "
                "are named here. Each collection is written on the schedule below."
            ),
            *what_passes(note.waste),
            *sides(note),
            *declaration(note),
            *_of_the_country(note.country),
            ToSign(
                (
                    ("Transferor", note.transferor.signed_by),
                    ("Transferee (carrier)", note.carrier.signed_by),
                )
            ),
            *_schedule(ticket),
        ),
    )


def _of_the_country(country: str) -> tuple[Block, ...]:
    if country != "scotland":
        return ()
    text = (
        "In Scotland one note may cover several collections only if it holds all particulars and "
        "both signatures for each: sign every line of the schedule."
    )
    return (ToCheck(text),)


def _schedule(ticket: SeasonTicket) -> tuple[Block, ...]:
    rows = [
        (day_words(one.on), one.at, one.quantity, one.site, one.record)
        for one in ticket.collections
    ]
    rows += [("", "", "", "", "")] * max(2, SCHEDULE_LINES - len(rows))
    head = ("Date", "Time", "Quantity", "Site", "Initials or note number")
    return (
        Heading("Schedule of collections"),
        Table("One line a collection", head, tuple(rows), (3, 2, 2, 4, 3), (2,)),
    )
