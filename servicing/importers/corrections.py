"""Change a registered system to what a list says of it."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from customers.models import Party, Person
from servicing.models import Occupancy, System, Tank

from .comparison import changed_fields, changed_place, changed_use, latest_occupancy

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.db.models import Model

    from .bulk import Author
    from .rows import SystemRow


def correct_system(row: SystemRow, system: System, *, author: Author, today: dt.date) -> None:
    """Write what the row says otherwise than the register, and nothing else.

    The system comes with its tanks, occupancies and open owners prefetched. A new owner takes the
    place of the old from today; an owner of the same name gets the new ways to be reached.
    """
    _set(system, changed_fields(row, system), author)
    _set(system.premises, changed_place(row.place, system.premises), author)
    _correct_volume(row, system, author)
    _correct_use(row, system, author, today)
    _correct_owner(row, system, author, today)


def _set(thing: Model, changes: Mapping[str, object], author: Author) -> None:
    for name, value in changes.items():
        setattr(thing, name, value)
    if changes:
        author.save(thing, list(changes))


def _correct_volume(row: SystemRow, system: System, author: Author) -> None:
    litres = row.working_volume_litres
    tank = next(iter(system.tanks.all()), None)
    if litres is None or (tank and tank.working_volume_litres == litres):
        return
    if tank is None:
        author.add(Tank, [Tank(system=system, working_volume_litres=litres)])
        return
    _set(tank, {"working_volume_litres": litres}, author)


def _correct_use(row: SystemRow, system: System, author: Author, today: dt.date) -> None:
    """What was only ever known from a list is put right; a dated history gets a new line."""
    known = latest_occupancy(system)
    changes = changed_use(row, known)
    if not changes:
        return
    if known is not None and (known.since is None or known.since == today):
        _set(known, dict(changes), author)
        return
    fields = {
        "use": known.use if known else Occupancy.Use.RESIDENCE,
        "persons": known.persons if known else None,
        "weeks_per_year": known.weeks_per_year if known else 52,
        "kitchen_grinder": known.kitchen_grinder if known else False,
    } | changes
    since = today if known else None
    author.add(Occupancy, [Occupancy(system=system, since=since, **fields)])


def _correct_owner(row: SystemRow, system: System, author: Author, today: dt.date) -> None:
    owner = row.owner
    if owner is None:
        return
    owners: list[Party] = system.premises.open_owners  # type: ignore[attr-defined]
    for party in owners:
        if party.person.name.casefold() == owner.name.casefold():
            said = {"email": owner.email, "phone": owner.phone}
            _set(party.person, _otherwise(party.person, said), author)
            return
    for party in owners:
        _set(party, {"until": max(today, party.since or today)}, author)


def _otherwise(person: Person, said: dict[str, str]) -> dict[str, object]:
    return {name: text for name, text in said.items() if text and getattr(person, name) != text}
