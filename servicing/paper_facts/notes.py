"""What a transfer note and a season ticket say."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from customers.country_rules import RuleBook
from servicing import volumes
from servicing.documents import (
    HOUSEHOLD,
    Collection,
    Issuer,
    Registration,
    SeasonTicket,
    Side,
    TransferNote,
    Waste,
)
from servicing.models import Occupancy, System, Visit

from .people import address_of, place_words, transferor_of
from .visits import system_words, times_of

if TYPE_CHECKING:
    from customers.models import Organisation

CONTENTS = {
    System.Kind.SEPTIC_TANK: "Septic tank sludge, liquid",
    System.Kind.CESSPOOL: "Contents of a cesspool: sewage, liquid",
    System.Kind.PACKAGE_PLANT: "Sludge of a small sewage treatment plant, liquid",
    System.Kind.GREASE_TRAP: "Grease and water from a grease trap, liquid",
}
# A cubic metre of it weighs about a tonne: common practice, no source.
TONNES_PER_LITRE = 0.001
OF_THE_WORKS = "The receiving works takes it under this code"


def activity_of(system: System, on: dt.date) -> str:
    """What the customer does: the code kept with the place, or that it is a household."""
    return system.premises.activity_code or (HOUSEHOLD if is_household(system, on) else "")


def is_household(system: System, on: dt.date) -> bool:
    """Whether people live there for themselves; where nothing is known, nobody may assume so."""
    rows = [row for row in system.occupancies.all() if row.since is None or row.since <= on]
    last = max(rows, key=lambda row: row.since or dt.date.min, default=None)
    return last is not None and last.use == Occupancy.Use.RESIDENCE


@dataclass(frozen=True, slots=True)
class Receiver:
    """What a works asks of a load: its permit, and the code under which it takes this waste."""

    permit: str = ""
    code: str = ""


def transfer_facts(
    visit: Visit,
    *,
    issuer: Issuer,
    carrier: Organisation,
    activity_code: str = "",
    receiver: Receiver | None = None,
) -> TransferNote:
    """Facts of the transfer at one emptying; what is not known stays empty."""
    emptying = getattr(visit, "emptying", None)
    litres = emptying.litres_removed if emptying is not None else None
    return note_of(
        visit.system,
        on=visit.visited_on,
        issuer=issuer,
        carrier=carrier,
        activity_code=activity_code,
        quantity=quantity_words(litres, visit.organisation.units),
        litres=litres,
        at=times_of(visit),
        destination=emptying.tipped_at if emptying is not None else "",
        signed_by=(visit.who_was_present, visit.crew_name),
        vehicle=visit.vehicle_registration,
        ticket=emptying.tip_ticket if emptying is not None else "",
        receiver=receiver,
    )


def note_of(
    system: System,
    *,
    on: dt.date,
    issuer: Issuer,
    carrier: Organisation,
    activity_code: str,
    quantity: str,
    litres: float | None,
    at: str = "",
    destination: str = "",
    signed_by: tuple[str, str] = ("", ""),
    vehicle: str = "",
    ticket: str = "",
    receiver: Receiver | None = None,
) -> TransferNote:
    """A note about a system, as far as its rows know."""
    premises, receiver = system.premises, receiver or Receiver()
    place = place_words(premises)
    activity = activity_code or activity_of(system, on)
    return TransferNote(
        issuer=issuer,
        country=system.organisation.profile.code,
        waste=waste_of(system, on=on, quantity=quantity, litres=litres, own=receiver.code),
        transferred_on=on,
        transferred_at=at,
        place=place,
        transferor=transferor_side(system, on, household=activity == HOUSEHOLD, by=signed_by[0]),
        activity_code=activity,
        carrier=carrier_side(carrier, by=signed_by[1]),
        registration=registration_of(carrier),
        vehicle=vehicle,
        origin=place,
        destination=destination,
        destination_ticket=ticket,
        destination_permit=receiver.permit,
        system=system_words(system),
    )


def carrier_side(carrier: Organisation, *, by: str) -> Side:
    """Who takes the waste."""
    address = ", ".join(carrier.address.strip().splitlines())
    status = "registered carrier of waste"
    return Side(name=carrier.name, address=address, status=status, signed_by=by)


def registration_of(carrier: Organisation) -> Registration:
    """The carrier's registration as it is recorded."""
    return Registration(
        number=carrier.carrier_registration,
        valid_from=carrier.carrier_valid_from,
        valid_to=carrier.carrier_valid_to,
    )


def transferor_side(system: System, on: dt.date, *, household: bool, by: str) -> Side:
    """Who hands over, or an empty side where nobody is named for the place."""
    person = transferor_of(system.premises, on)
    status = "producer of the waste, householder" if household else "producer of the waste"
    postcode = system.premises.postcode
    if person is None:
        return Side(name="", address="", postcode=postcode, status=status)
    address = address_of(person, system.premises)
    return Side(name=person.name, address=address, postcode=postcode, status=status, signed_by=by)


def waste_of(
    system: System, *, on: dt.date, quantity: str, litres: float | None, own: str = ""
) -> Waste:
    """The waste by its kind and the code of the day: the works' `own`, else of the country's list."""
    rule = RuleBook(system.organisation.profile, on).rule("waste_code", system.kind)
    code = own or (str(rule.value) if rule else "")
    listed = rule is not None and code == str(rule.value)
    return Waste(
        code=code,
        code_is_law=listed and rule is not None and rule.is_law,
        code_source=rule.source if rule and listed else OF_THE_WORKS if own else "",
        description=CONTENTS.get(System.Kind(system.kind), ""),
        quantity=quantity,
        litres=litres,
    )


def quantity_words(litres: float | None, units: str) -> str:
    """Volume with the weight it is estimated at; empty where it is not known."""
    if not litres:
        return ""
    own = volumes.spoken(litres, units)
    metric = "" if units == "litres" else f" ({volumes.spoken(litres)})"
    return f"{own}{metric}, about {litres * TONNES_PER_LITRE:.1f} t (estimated)"


def season_facts(
    system: System,
    *,
    issuer: Issuer,
    carrier: Organisation,
    begins_on: dt.date,
    ends_on: dt.date,
    activity_code: str = "",
) -> SeasonTicket:
    """Facts of a season at one system with the collections recorded in it so far."""
    units = system.organisation.units
    note = note_of(
        system,
        on=begins_on,
        issuer=issuer,
        carrier=carrier,
        activity_code=activity_code,
        quantity="as on the schedule",
        litres=None,
    )
    visits = (
        system.visits.that_count()
        .filter(emptying__isnull=False, visited_on__range=(begins_on, ends_on))
        .filter(carried_out_by_others=False)
        .select_related("emptying", "system__premises__organisation")
        .order_by("visited_on", "pk")
    )
    collections = tuple(
        Collection(
            on=visit.visited_on,
            at=times_of(visit),
            quantity=volumes.spoken(visit.emptying.litres_removed, units),
            site=str(system.premises),
        )
        for visit in visits
    )
    return SeasonTicket(note=note, begins_on=begins_on, ends_on=ends_on, collections=collections)
