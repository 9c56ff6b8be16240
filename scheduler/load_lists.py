"""Loads of tankers over some days: for the office to look at, and as CSV."""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from customers.local_days import zone_of
from scheduler.loads import Book, Collected, Tipped, book_of
from scheduler.models import Tanker
from servicing.importers.refused import defused
from servicing.register_export import Echo
from servicing.volumes import UNIT_NAMES, from_litres

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Organisation

# A month of loads at a time keeps the page and its reckoning short.
MOST_DAYS = 62
COLUMNS = (
    "day", "tanker", "what", "place", "system", "kind", "waste codes", "volume, {unit}", "litres",
    "kilograms", "read from", "ticket", "permit of the works", "charge, GBP",
    "collected before, litres", "difference, litres", "adds up", "remark",
)  # fmt: skip


@dataclass(frozen=True)
class Sums:
    """What came on board, went out and was charged for."""

    collected: float
    tipped: int
    charge_pence: int
    tips: int
    not_adding_up: int


def books_of(
    organisation: Organisation, first: dt.date, last: dt.date, tanker: Tanker | None = None
) -> list[Book]:
    """Ledgers of the tankers that did anything in these days, by name."""
    rows = Tanker.objects.filter(organisation=organisation).select_related("organisation")
    wanted = rows.order_by("name") if tanker is None else [tanker]
    books = [book_of(one, first, last) for one in wanted]
    return [book for book in books if book.lines or book.on_board or tanker is not None]


def sums_of(books: Sequence[Book]) -> Sums:
    """All of it together."""
    tips = [line for book in books for line in book.tips]
    return Sums(
        collected=sum(book.collected_litres for book in books),
        tipped=sum(line.tip.litres for line in tips),
        charge_pence=sum(line.tip.charge_pence or 0 for line in tips),
        tips=len(tips),
        not_adding_up=sum(1 for line in tips if not line.adds_up),
    )


def load_lines(organisation: Organisation, books: Sequence[Book]) -> Iterator[str]:
    """Lines of the loads as CSV: one a collection and one a ticket, in order; cells defused."""
    writer = csv.writer(Echo())
    unit = UNIT_NAMES[organisation.units]
    yield "\ufeff" + writer.writerow([column.format(unit=unit) for column in COLUMNS])
    for book in books:
        for line in book.lines:
            told = (
                tipped_cells(book, line, organisation)
                if isinstance(line, Tipped)
                else collected_cells(book, line, organisation)
            )
            yield writer.writerow([defused(text) for text in told])


def collected_cells(book: Book, line: Collected, organisation: Organisation) -> list[str]:
    """One collection."""
    litres = line.litres
    return [
        line.order[0].isoformat(),
        book.tanker.name,
        "collected",
        str(line.system.premises),
        line.system.reference,
        line.system.get_kind_display(),
        "",
        in_unit(litres, organisation),
        "" if litres is None else f"{litres:.0f}",
        *[""] * 9,
    ]


def tipped_cells(book: Book, line: Tipped, organisation: Organisation) -> list[str]:
    """One ticket."""
    tip = line.tip
    kinds = sorted({one.system.get_kind_display() for one in line.load})
    at = tip.tipped_at.astimezone(zone_of(organisation))
    return [
        f"{at:%Y-%m-%d %H:%M}",
        book.tanker.name,
        "tipped",
        tip.works.name,
        "",
        ", ".join(kinds),
        ", ".join(tip.waste_codes),
        in_unit(tip.litres, organisation),
        str(tip.litres),
        "" if tip.kilograms is None else str(tip.kilograms),
        tip.get_measured_by_display(),
        tip.ticket,
        tip.works.permit_number,
        "" if tip.charge_pence is None else f"{tip.charge_pence / 100:.2f}",
        f"{line.expected:.0f}",
        f"{line.difference:.0f}",
        "yes" if line.adds_up else "no",
        "; ".join(part for part in (tip.remark, agreed_words(tip.agreed_with)) if part),
    ]


def agreed_words(agreed_with: str) -> str:
    """Who took what the works does not usually take."""
    return f"taken all the same: {agreed_with}" if agreed_with else ""


def in_unit(litres: float | None, organisation: Organisation) -> str:
    """Volume in the organisation's unit."""
    return "" if litres is None else f"{from_litres(litres, organisation.units):.0f}"
