"""Tipping a load: the ticket, the litres, the charge, and the visits whose load it was."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from scheduler import booking, loads
from scheduler.models import MOST_TIPPED_LITRES, Stop, Tip
from servicing.models import Emptying, System
from servicing.visit_facts import Refusal
from servicing.volumes import spoken

if TYPE_CHECKING:
    from uuid import UUID

    from customers.models import User
    from scheduler.loads import Book
    from scheduler.models import Job, Works

# What a meter may read above what the tanker holds before somebody looks again: no source.
ABOVE_CAPACITY = 1.05


class TipRefused(booking.NotPossible):
    """The tip as told cannot be; the refusals name the field and what to do."""

    def __init__(self, *refusals: Refusal) -> None:
        super().__init__(" ".join(one.text for one in refusals))
        self.refusals = refusals


@dataclass(frozen=True, kw_only=True, slots=True)
class TipTold:
    """What a driver says of a tip. `sure` confirms what was asked about."""

    litres: float
    ticket: str
    measured_by: str = Tip.MeasuredBy.METER
    kilograms: int | None = None
    emptied_out: bool = True
    agreed_with: str = ""
    remark: str = ""
    sure: bool = False


@transaction.atomic
def record_tip(
    *, stop: Stop, told: TipTold, by: User, now: dt.datetime, key: UUID | None = None
) -> Tip:
    """Note what was tipped and the ticket, and put it on the visits whose load it was.

    The same `key` again is the same tip. Another at the same stop corrects it; its history keeps
    what it said. Raises TipRefused for what cannot be or wants confirming, PermissionDenied for
    who may not, NotPossible where the stop is no works.
    """
    access.require(by, "visit", stop.round.organisation)
    if stop.kind != Stop.Kind.TIP or stop.works is None:
        message = "This stop is not at a works."
        raise booking.NotPossible(message)
    stop = (
        Stop.objects.select_for_update(of=("self",))
        .select_related("round__tanker__organisation", "round__organisation", "works")
        .get(pk=stop.pk)
    )
    if key is not None and (same := Tip.objects.filter(key=key).first()) is not None:
        return same
    book = load_at(stop)
    check(stop, told, book)
    return write_tip(stop, told, book, by=by, now=now, key=key)


def load_at(stop: Stop) -> Book:
    """What the sheets say is on board when a stop is reached."""
    planned = stop.round
    before = (planned.day, stop.position)
    return loads.book_of(planned.tanker, planned.day, planned.day, before=before)


def check(stop: Stop, told: TipTold, book: Book) -> None:
    """Raise TipRefused with everything that speaks against the tip."""
    refusals = [
        one for one in refusals_of(stop, told, book) if not (one.can_be_confirmed and told.sure)
    ]
    if refusals:
        raise TipRefused(*refusals)


def refusals_of(stop: Stop, told: TipTold, book: Book) -> list[Refusal]:
    """What cannot be, and what wants a second look."""
    works, tanker, units = stop.works, stop.round.tanker, stop.round.organisation.units
    assert works is not None
    found = []
    if not told.ticket.strip():
        found.append(Refusal("ticket", "Give the number on the ticket."))
    if told.litres < 0 or told.litres > MOST_TIPPED_LITRES:
        found.append(Refusal("volume", "No tanker holds that much."))
    elif told.litres > tanker.capacity_litres * ABOVE_CAPACITY:
        said, holds = spoken(told.litres, units), spoken(tanker.capacity_litres, units)
        text = f"{said} tipped from a tanker that holds {holds}: look again, or confirm."
        found.append(Refusal("volume", text, can_be_confirmed=True))
    refused = loads.not_taken(works, book.on_board)
    if refused and not told.agreed_with.strip():
        found.append(Refusal("agreed_with", not_taken_words(works, refused)))
    return found


def not_taken_words(works: Works, kinds: list[str]) -> str:
    """What the works does not take, where else it may go, and what to do if it was tipped."""
    names = " and ".join(System.Kind(kind).label.lower() for kind in kinds)
    others = type(works).objects.filter(organisation=works.organisation, in_use=True)
    able = [
        one.name
        for one in others.exclude(pk=works.pk)
        if not one.accepts or set(kinds) <= set(one.accepts)
    ]
    where = f" Taken at {', '.join(able)}." if able else ""
    return (
        f"{works} does not take the waste of a {names}, and some is on board.{where} "
        "If they took it all the same, say who agreed to it."
    )


def write_tip(
    stop: Stop, told: TipTold, book: Book, *, by: User, now: dt.datetime, key: UUID | None
) -> Tip:
    """Add the row or put right the one of this stop, and carry it over to the stop and visits."""
    assert stop.works is not None
    tip = Tip.objects.filter(stop=stop).first()
    if tip is None:
        tip = Tip(organisation=stop.round.organisation, stop=stop, tipped_at=now)
        tip.key = key or tip.key
    tip.tanker, tip.works, tip.round = stop.round.tanker, stop.works, stop.round
    tip.litres, tip.ticket = round(told.litres), told.ticket.strip()
    tip.measured_by, tip.kilograms = told.measured_by, told.kilograms
    tip.emptied_out, tip.remark = told.emptied_out, told.remark.strip()
    tip.agreed_with = told.agreed_with.strip()
    tip.charge_pence = charge_of(stop.works, tip.litres)
    tip.waste_codes = loads.codes_of(stop.works, book.on_board, stop.round.day)
    tip.recorded_by = by
    tip.save()
    stop.tipped_litres, stop.tip_ticket = tip.litres, tip.ticket
    stop.arrived_at = stop.arrived_at or now
    stop.left_at = stop.left_at or now
    stop.save(update_fields=["tipped_litres", "tip_ticket", "arrived_at", "left_at"])
    put_on_visits(book, tip)
    return tip


def charge_of(works: Works, litres: int) -> int:
    """What a works asks for a load, in pence: so much a visit and so much a cubic metre."""
    return works.charge_pence_per_visit + round(litres * works.charge_pence_per_m3 / 1000)


def put_on_visits(book: Book, tip: Tip) -> None:
    """Name works and ticket on the emptyings whose load it was."""
    for emptying in Emptying.objects.filter(visit__in=[one.visit for one in book.on_board]):
        emptying.tipped_at, emptying.tip_ticket = tip.works.name, tip.ticket
        emptying.save(update_fields=["tipped_at", "tip_ticket"])


def take_late_sheet_in(job: Job) -> None:
    """A sheet that comes in after its load was tipped takes over the ticket."""
    stops = Stop.objects.filter(job=job, round__accepted_at__isnull=False)
    stop = stops.select_related("round__tanker").order_by("-round__day", "-position").first()
    if stop is None:
        return
    tips = Tip.objects.filter(round=stop.round, stop__position__gt=stop.position)
    near = tips.select_related("works", "stop__round__tanker__organisation")
    tip = near.order_by("stop__position").first()
    if tip is None or tip.stop is None:
        return
    book = load_at(tip.stop)
    put_on_visits(book, tip)
    codes = loads.codes_of(tip.works, book.on_board, stop.round.day)
    if codes != tip.waste_codes:
        tip.waste_codes = codes
        tip.save(update_fields=["waste_codes", "changed_at"])


def tipped_words(tip: Tip) -> str:
    """What is said once a ticket is noted: whether it agrees with the sheets."""
    said = f"Ticket {tip.ticket} noted."
    if tip.stop is None:
        return said
    units = tip.organisation.units
    book = load_at(tip.stop)
    line = loads.take_in(book, tip)
    assert isinstance(line, loads.Tipped)
    if not line.load:
        return f"{said} No sheet of this load is in yet."
    collected = spoken(line.expected, units)
    if line.adds_up:
        return f"{said} It agrees with the {collected} of your sheets."
    how = "more" if line.difference > 0 else "less"
    apart = spoken(abs(line.difference), units)
    return (
        f"{said} That is {apart} {how} than the {collected} of your sheets: look at both again, "
        "or say why under “About this load”."
    )
