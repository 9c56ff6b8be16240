"""What a crew is shown before it sets out: the place, the way in, the people, the last visit."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from customers.local_days import zone_at
from customers.models import Party
from scheduler.models import Stop
from servicing.models import Visit

if TYPE_CHECKING:
    from customers.models import Organisation, Person, Premises, User
    from scheduler.models import Job

# Who is rung first when the gate is shut.
RING_FIRST = (Party.Role.SITE_CONTACT, Party.Role.OCCUPIER, Party.Role.OWNER)


@dataclass(frozen=True)
class Position:
    """Where to stand, and whether it was measured at the cover or is only near it."""

    latitude: float
    longitude: float
    is_of_cover: bool

    @property
    def address(self) -> str:
        """Address that a phone opens in whatever map it has (RFC 5870)."""
        return f"geo:{self.latitude:.6f},{self.longitude:.6f}"

    @property
    def figures(self) -> str:
        """Decimal degrees to about a metre."""
        return f"{self.latitude:.5f}, {self.longitude:.5f}"


def position_of(job: Job) -> Position | None:
    """Position of the cover, else of the place."""
    system = job.system
    if system.latitude is None or system.longitude is None:
        return None
    return Position(system.latitude, system.longitude, system.lid_latitude is not None)


def contact_at(premises: Premises, today: dt.date) -> Person | None:
    """Whom to ring on site: somebody with a telephone number, the site contact first."""
    parties = premises.parties.filter(
        Q(until__isnull=True) | Q(until__gte=today), role__in=RING_FIRST
    ).select_related("person")
    able = [party for party in parties if party.person.phone]
    able.sort(key=lambda party: RING_FIRST.index(Party.Role(party.role)))
    return able[0].person if able else None


def last_visit(job: Job) -> Visit | None:
    """The last visit carried out here, with its readings."""
    counted = job.system.visits.that_count().prefetch_related("dips__tank")
    return counted.select_related("emptying").first()


def stop_of(job: Job, organisation: Organisation) -> Stop | None:
    """The stop at which `organisation` drives this job, newest round first."""
    return (
        Stop.objects.filter(
            job=job, round__organisation=organisation, round__accepted_at__isnull=False
        )
        .select_related("round__tanker", "round__crew")
        .order_by("-round__day")
        .first()
    )


def sheet_initial(job: Job, stop: Stop | None, user: User, today: dt.date) -> dict[str, Any]:
    """What the sheet knows before anybody writes on it."""
    told: dict[str, Any] = {"visited_on": today, "crew_name": user.name}
    if stop is None:
        return told
    zone = zone_at(job.system.premises)
    tanker, crew = stop.round.tanker, stop.round.crew
    told["vehicle_registration"] = tanker.vehicle_registration
    if crew is not None:
        told["crew_name"] = crew.name
    for field, moment in (("arrived", stop.arrived_at), ("left", stop.left_at)):
        if moment is not None and moment.astimezone(zone).date() == today:
            told[field] = moment.astimezone(zone).time().replace(second=0, microsecond=0)
    return told
