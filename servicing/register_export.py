"""The register as CSV, in headings that can be brought in again."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import TYPE_CHECKING

from django.db.models import Prefetch

from customers.models import Party
from servicing.importers.fields import BY_NAME
from servicing.importers.refused import defused
from servicing.models import System

if TYPE_CHECKING:
    from customers.models import Organisation

ROWS_AT_ONCE = 500
COLUMNS = (
    "reference", "kind", "make_and_model", "serial_number", "installed_on", "volume",
    "last_emptied_on", "last_serviced_on", "chambers", "discharge", "registration", "bedrooms",
    "design_population", "persons", "use", "weeks_per_year", "premises_name", "address", "town",
    "postcode", "latitude", "longitude", "access_note", "lid_note", "owner_name", "owner_email",
    "owner_phone", "notes",
)  # fmt: skip


class Echo:
    """Gives back what is written to it, so that rows leave as they are made."""

    def write(self, text: str) -> str:
        """Return the text."""
        return text


def register_lines(organisation: Organisation) -> Iterator[str]:
    """Lines of the register with volumes in litres, cells defused, without gate codes."""
    writer = csv.writer(Echo())
    headings = [BY_NAME[name].label for name in COLUMNS]
    headings[COLUMNS.index("volume")] += ", litres"
    yield "\ufeff" + writer.writerow(headings)
    for system in _systems(organisation):
        yield writer.writerow([defused(text) for text in _cells(system)])


def _systems(organisation: Organisation) -> Iterator[System]:
    owners = Party.objects.filter(role=Party.Role.OWNER, until=None).select_related("person")
    return (
        System.objects.filter(organisation=organisation)
        .select_related("premises")
        .prefetch_related(
            "tanks",
            "chambers",
            "occupancies",
            Prefetch("premises__parties", owners, to_attr="open_owners"),
        )
        .order_by("reference")
        .iterator(chunk_size=ROWS_AT_ONCE)
    )


def _cells(system: System) -> list[str]:
    place = system.premises
    owner = next(iter(place.open_owners), None)  # type: ignore[attr-defined]
    litres = [t.working_volume_litres for t in system.tanks.all() if t.working_volume_litres]
    use = next(reversed(list(system.occupancies.all())), None)
    said: dict[str, object] = {name: getattr(system, name, "") for name in COLUMNS}
    said |= {
        "kind": system.get_kind_display(),
        "discharge": system.get_discharge_display(),
        "volume": sum(litres) if litres else None,
        "chambers": len(system.chambers.all()),
        "persons": use.persons if use else None,
        "use": use.get_use_display() if use else "",
        "weeks_per_year": use.weeks_per_year if use else None,
        "premises_name": place.name,
        "address": place.address.replace("\n", ", "),
        "town": place.town,
        "postcode": place.postcode,
        "latitude": system.latitude,
        "longitude": system.longitude,
        "access_note": place.access_note,
        "owner_name": owner.person.name if owner else "",
        "owner_email": owner.person.email if owner else "",
        "owner_phone": owner.person.phone if owner else "",
    }
    return [_text(said[name]) for name in COLUMNS]


def _text(value: object) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) and value.is_integer() else str(value)
