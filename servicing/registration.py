"""Putting systems into the register and changing what it says of them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Prefetch

from customers import access
from customers.models import Party
from servicing.models import DrainageField, Occupancy, System, Tank

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from customers.models import Organisation, Premises, User


def search_text(system: System) -> str:
    """What the register's search looks through, in lower case.

    Reads `system.premises` and its open parties: prefetch them for many systems.
    """
    place = system.premises
    people = [party.person.name for party in place.parties.all() if party.until is None]
    postcode = place.postcode
    words = [system.reference, place.reference, place.name, place.one_line_address]
    words += [postcode.replace(" ", ""), system.make_and_model, *people]
    return " ".join(word for word in words if word).lower()


def refresh_search_text(systems: Iterable[System]) -> int:
    """Write the search text of the systems whose text changed; gives their number."""
    changed = []
    for system in systems:
        text = search_text(system)
        if text != system.search_text:
            system.search_text = text
            changed.append(system)
    System.objects.bulk_update(changed, ["search_text"], batch_size=500)
    return len(changed)


def refresh_search_text_at(premises: Premises) -> int:
    """Write the search text of every system at a place: call after it or its people changed."""
    parties = Prefetch("premises__parties", Party.objects.select_related("person"))
    systems = premises.systems.select_related("premises").prefetch_related(parties)
    return refresh_search_text(systems)


@transaction.atomic
def register_system(
    *,
    organisation: Organisation,
    premises: Premises,
    by: User,
    system: Mapping[str, Any],
    tanks: Iterable[Mapping[str, Any]] = (),
    occupancy: Mapping[str, Any] | None = None,
    drainage_field: Mapping[str, Any] | None = None,
) -> System:
    """Add a system with its tanks and what is known of its use.

    The mappings hold model fields. Raises PermissionDenied for who may not change the
    register, ValueError when the place belongs to somebody else.
    """
    access.require(by, "register", organisation)
    if premises.organisation_id != organisation.pk:
        message = "The premises belong to another organisation."
        raise ValueError(message)
    added = System.objects.create(organisation=organisation, premises=premises, **system)
    for position, tank in enumerate(tanks, start=1):
        Tank.objects.create(system=added, **{"position": position, **tank})
    if occupancy is not None:
        Occupancy.objects.create(system=added, **occupancy)
    if drainage_field is not None:
        DrainageField.objects.create(system=added, **drainage_field)
    refresh_search_text([added])
    return added
