"""The run sheet: a tanker's day on paper, in driving order."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from .blocks import Blanks, Block, Caution, Heading, Issuer, Sheet, Stamp, Text, day_words, known
from .cautions import CREW, LOCAL_CODES
from .typesetting import typeset

BLANKS_AT_A_JOB = (
    ("Taken out; cover back on, bolts in", "litres"),
    ("Left", "time"),
    ("Notes", ""),
)


@dataclass(frozen=True, kw_only=True)
class RunStop:
    """One stop. `number` counts the jobs; `details` are sentences; `is_tip` asks for a ticket."""

    at: str
    name: str
    number: int | None = None
    distance: str = ""
    address: str = ""
    details: tuple[str, ...] = ()
    is_tip: bool = False

    @property
    def title(self) -> str:
        """Time, number and name."""
        number = f"{self.number}. " if self.number is not None else ""
        return f"{self.at}  {number}{self.name}"


@dataclass(frozen=True, kw_only=True)
class RunSheetFacts:
    """A round. `warning` says that it is not to be driven, where it is not."""

    issuer: Issuer
    tanker: str
    vehicle: str
    crew: str
    day: dt.date
    sums: str
    stops: tuple[RunStop, ...]
    warning: str = ""


def run_sheet(told: RunSheetFacts, stamp: Stamp) -> bytes:
    """PDF of the sheet."""
    return typeset(run_sheet_sheet(told, stamp))


def run_sheet_sheet(told: RunSheetFacts, stamp: Stamp) -> Sheet:
    """The sheet in pieces."""
    warning = (Caution("Do not drive this round", (told.warning,)),) if told.warning else ()
    return Sheet(
        title=f"Run sheet: {told.tanker}",
        about=f"{told.day:%A} {day_words(told.day)}",
        issuer=told.issuer,
        stamp=stamp,
        foot="Gate codes are not printed: they are on the job sheet behind your sign-in.",
        blocks=(
            *warning,
            known(("Driven by", told.crew), ("Vehicle", told.vehicle), ("The day", told.sums)),
            CREW,
            *[block for stop in told.stops for block in _stop(stop)],
            LOCAL_CODES,
        ),
    )


def _stop(stop: RunStop) -> tuple[Block, ...]:
    blocks: list[Block] = [Heading(stop.title)]
    about = "\n".join(part for part in (stop.distance, stop.address, *stop.details) if part)
    if about:
        blocks.append(Text(about))
    if stop.number is not None:
        blocks.append(Blanks(BLANKS_AT_A_JOB))
    elif stop.is_tip:
        blocks.append(Blanks((("Ticket number", ""), ("Tipped", "litres"))))
    return tuple(blocks)
