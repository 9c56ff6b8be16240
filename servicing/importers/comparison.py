"""What a list would do to the register: add, change, or nothing because it stands there already."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from customers.models import Agreement, Party
from servicing.models import Occupancy, System

from .places import POSTCODE

if TYPE_CHECKING:
    from customers.models import Organisation, Premises

    from .rows import Place, SystemRow

ROWS_AT_ONCE = 500
# Of days that only move on, the register's stands when it is the later one.
LAST_DAYS = frozenset({"last_emptied_on", "last_serviced_on"})


class Outcome(StrEnum):
    """What happens to a row."""

    ADDED = "added"
    SAME = "same"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing the list says otherwise than the register; empty before = not known so far."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Compared:
    """A row beside what the register holds under its reference."""

    row: SystemRow
    outcome: Outcome
    differences: tuple[Difference, ...] = ()
    system: System | None = None


def compare(organisation: Organisation, rows: Iterable[SystemRow]) -> Iterator[list[Compared]]:
    """Compare rows with the register, some hundreds at a time; nothing is written."""
    for batch in in_batches(rows):
        known = _registered(organisation, {row.reference for row in batch})
        yield [_compared(row, known.get(row.reference)) for row in batch]


def in_batches(rows: Iterable[SystemRow]) -> Iterator[tuple[SystemRow, ...]]:
    """Cut rows into pieces of a size the database takes in one statement."""
    left = iter(rows)
    while batch := tuple(islice(left, ROWS_AT_ONCE)):
        yield batch


def open_owners() -> Prefetch[str]:
    """Prefetch of the owners of today of a place."""
    owners = Party.objects.filter(role=Party.Role.OWNER, until=None).select_related("person")
    return Prefetch("premises__parties", owners, to_attr="open_owners")


def _registered(organisation: Organisation, references: set[str]) -> dict[str, System]:
    systems = (
        System.objects.filter(organisation=organisation, reference__in=references)
        .select_related("premises", "organisation")
        .prefetch_related(
            "tanks",
            "occupancies",
            open_owners(),
            Prefetch("premises__agreements", Agreement.objects.select_related("plan")),
        )
    )
    return {system.reference: system for system in systems}


def _compared(row: SystemRow, system: System | None) -> Compared:
    if system is None:
        return Compared(row, Outcome.ADDED)
    differences = tuple(differences_of(row, system))
    outcome = Outcome.CHANGED if differences else Outcome.SAME
    return Compared(row, outcome, differences, system)


def differences_of(row: SystemRow, system: System) -> Iterator[Difference]:
    """Everything the row says otherwise than the register; what it leaves out is no difference."""
    for name, value in changed_fields(row, system).items():
        field = System._meta.get_field(name)  # noqa: SLF001 (Django's documented Model._meta)
        yield Difference(str(field.verbose_name), _shown(getattr(system, name)), _shown(value))  # type: ignore[union-attr]
    for name, said in changed_place(row.place, system.premises).items():
        if name not in {"longitude", "location_source"}:
            label = "position" if name == "latitude" else name.replace("_", " ")
            yield Difference(label, _shown(getattr(system.premises, name)), _shown(said))
    yield from _volume_difference(row, system)
    yield from _use_difference(row, system)
    yield from _owner_difference(row, system)
    yield from _agreement_difference(row, system)


def changed_fields(row: SystemRow, system: System) -> dict[str, str | int | dt.date]:
    """Fields of the system that the row says otherwise."""
    return {
        name: value
        for name, value in row.system.items()
        if getattr(system, name) != value and not _is_older(name, value, getattr(system, name))
    }


def _is_older(name: str, value: object, known: dt.date | None) -> bool:
    return name in LAST_DAYS and known is not None and isinstance(value, dt.date) and value < known


def changed_place(place: Place, premises: Premises) -> dict[str, str | float]:
    """Fields of the place that the row says otherwise; a rough position replaces no position."""
    texts = ("name", "address", "town", "postcode", "access_note")
    changed: dict[str, str | float] = {
        name: getattr(place, name)
        for name in texts
        if getattr(place, name) and getattr(place, name) != getattr(premises, name)
    }
    if place.latitude is None or place.longitude is None:
        return changed
    if premises.latitude is not None and place.location_source == POSTCODE:
        return changed
    if (place.latitude, place.longitude) != (premises.latitude, premises.longitude):
        changed |= {
            "latitude": place.latitude,
            "longitude": place.longitude,
            "location_source": place.location_source,
        }
    return changed


def _volume_difference(row: SystemRow, system: System) -> Iterator[Difference]:
    if row.working_volume_litres is None:
        return
    tank = next(iter(system.tanks.all()), None)
    known = tank.working_volume_litres if tank else None
    if known != row.working_volume_litres:
        yield Difference("working volume, litres", _shown(known), _shown(row.working_volume_litres))


def latest_occupancy(system: System) -> Occupancy | None:
    """The row of use in force last."""
    return next(reversed(list(system.occupancies.all())), None)


def changed_use(row: SystemRow, known: Occupancy | None) -> dict[str, str | float | bool]:
    """Fields of the use that the row says otherwise."""
    said = {
        "use": row.use.use or None,
        "persons": row.use.persons,
        "weeks_per_year": row.use.weeks_per_year,
        "kitchen_grinder": row.use.kitchen_grinder,
    }
    return {
        name: value
        for name, value in said.items()
        if value is not None and (known is None or getattr(known, name) != value)
    }


def _use_difference(row: SystemRow, system: System) -> Iterator[Difference]:
    known = latest_occupancy(system)
    for name, value in changed_use(row, known).items():
        before = getattr(known, name) if known else None
        yield Difference(name.replace("_", " "), _shown(before), _shown(value))


def _owner_difference(row: SystemRow, system: System) -> Iterator[Difference]:
    if row.owner is None:
        return
    owners: list[Party] = system.premises.open_owners  # type: ignore[attr-defined]
    said = (row.owner.name, row.owner.email, row.owner.phone)
    known = [(p.person.name, p.person.email, p.person.phone) for p in owners]
    if not any(_agrees(said, one) for one in known):
        before = "; ".join(", ".join(filter(None, one)) for one in known)
        yield Difference("owner", before, ", ".join(filter(None, said)))


def _agrees(said: tuple[str, ...], known: tuple[str, ...]) -> bool:
    return all(not new or new == old for new, old in zip(said, known, strict=True))


def _agreement_difference(row: SystemRow, system: System) -> Iterator[Difference]:
    if row.agreement is None:
        return
    known = list(system.premises.agreements.all())
    said = (row.agreement.plan, row.agreement.ends_on)
    if said not in [(one.plan.name, one.ends_on) for one in known]:
        before = "; ".join(f"{one.plan.name} until {one.ends_on:%d/%m/%Y}" for one in known)
        yield Difference("agreement", before, f"{said[0]} until {said[1]:%d/%m/%Y}")


def _shown(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, dt.date):
        return f"{value:%d/%m/%Y}"
    if isinstance(value, float):
        return f"{value:,.6f}".rstrip("0").rstrip(".")
    return str(value)
