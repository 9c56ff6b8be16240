"""What a crew is shown before it sets out: the place, the way in, the people, the last visit."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from customers import access
from customers.local_days import zone_at
from customers.models import Organisation, Party
from scheduler.models import Job, Round, Stop
from servicing.models import Visit

if TYPE_CHECKING:
    import uuid
    from collections.abc import Iterable

    from django.db.models import QuerySet

    from customers.models import Person, Premises, User
    from servicing.models import VisitPhoto

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


def contacts_at(jobs: Iterable[Job], today: dt.date) -> dict[int, Person]:
    """Whom to ring at each place, by key of the premises; a place with nobody is missing."""
    places = {job.system.premises_id for job in jobs}
    parties = Party.objects.filter(
        Q(until__isnull=True) | Q(until__gte=today), premises__in=places, role__in=RING_FIRST
    ).exclude(person__phone="")
    found: dict[int, Person] = {}
    ordered = sorted(
        parties.select_related("person").order_by("pk"),
        key=lambda party: RING_FIRST.index(Party.Role(party.role)),
    )
    for party in ordered:
        found.setdefault(party.premises_id, party.person)
    return found


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


def notch_of(stop: Stop | None) -> int | None:
    """How far apart the notches of this crew's own stick are, where it has one of its own."""
    crew = stop.round.crew if stop is not None else None
    return crew.stick_notch_mm if crew is not None else None


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


def had_the_job(user: User, job: Job) -> Organisation | None:
    """The organisation of `user` that once had this job handed over, though it has no longer."""
    once = job.history.exclude(handed_to=None).values_list("handed_to_id", flat=True)
    for one in Organisation.objects.filter(pk__in=set(once)):
        if access.may(user, "visit", one):
            return one
    return None


def photos_of_the_way(job: Job) -> list[VisitPhoto]:
    """The newest photograph of each kind that shows where the cover is."""
    newest: dict[str, VisitPhoto] = {}
    for photo in job.system.photos.that_show_the_way().order_by("taken_at", "pk"):
        newest[photo.kind] = photo
    return list(newest.values())


def job_once_held(user: User, public_id: uuid.UUID) -> Job | None:
    """A job that a firm of `user` had, by its history, though it no longer sees it."""
    mine = set(user.organisation_ids())
    once = Job.history.filter(public_id=public_id, handed_to__in=mine).values_list("id", flat=True)
    return Job.objects.filter(pk__in=set(once)).select_related("system__premises").first()


def stops_to_mark(user: User) -> QuerySet[Stop]:
    """Stops of accepted rounds that `user` may see."""
    return Stop.objects.filter(
        round__in=Round.objects.visible_to(user).filter(accepted_at__isnull=False)
    ).select_related(
        "round__organisation",
        "round__tanker__organisation",
        "job__system__premises__organisation",
        "works",
    )


def next_by_thumb(job: Job, today: dt.date) -> dt.date | None:
    """When it would be due again if what the last forecast allowed held from today; no forecast.

    For a crew without signal, and told as a rule of thumb: the forecast takes the sheet's own
    readings into account.
    """
    forecast = getattr(job.system, "forecast", None)
    if forecast is None or not forecast.due_on or not forecast.since:
        return None
    span: dt.timedelta = forecast.due_on - forecast.since
    return today + span if span.days > 0 else None
