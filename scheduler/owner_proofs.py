"""What proves past visits to an owner: photographs of the cover, and who signed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q
from django.utils.formats import date_format
from django.utils.translation import gettext

from servicing.models import Visit, VisitPhoto

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

    from customers.models import OwnerLink
    from scheduler.owner_parts import Part

# The cover before it moves helps the next crew; these two show the owner what was done.
FOR_OWNERS = (VisitPhoto.Kind.FOUND, VisitPhoto.Kind.LID_BACK)


@dataclass(frozen=True)
class OwnersPhoto:
    """One photograph with its words."""

    photo: VisitPhoto
    caption: str
    alt: str


@dataclass(frozen=True)
class ProvedVisit:
    """A past visit with what proves it; nothing of a day on which the reader had no part."""

    visit: Visit
    photos: tuple[OwnersPhoto, ...] = ()
    signed: str = ""


@dataclass(frozen=True)
class Days:
    """From when until when somebody belonged to a place; None where nobody noted it."""

    since: dt.date | None
    until: dt.date | None

    def hold(self, day: dt.date) -> bool:
        """Whether `day` is one of them."""
        return (self.since or day) <= day <= (self.until or day)

    def of_visits(self) -> Q:
        """Visits on one of them."""
        asked = Q(visit__isnull=False)
        if self.since:
            asked &= Q(visit__visited_on__gte=self.since)
        if self.until:
            asked &= Q(visit__visited_on__lte=self.until)
        return asked


def days_of(link: OwnerLink) -> list[Days]:
    """When the person of a link belonged to its place."""
    parties = link.person.parties.filter(premises=link.premises)
    return [Days(*pair) for pair in parties.values_list("since", "until")]


def photos_for(link: OwnerLink, days: list[Days] | None = None) -> QuerySet[VisitPhoto]:
    """Photographs that the person of a link may see: of the place, of visits in their days."""
    theirs = Q(pk__in=[])
    for one in days_of(link) if days is None else days:
        theirs |= one.of_visits()
    return VisitPhoto.objects.filter(
        theirs,
        kind__in=FOR_OWNERS,
        visit__system__premises=link.premises,
        visit__replaced_by__isnull=True,
    )


def proved(link: OwnerLink, part: Part, visits: Iterable[Visit]) -> dict[int, ProvedVisit]:
    """Visits of the place with what proves them to the person of a link, by their ids."""
    visits = list(visits)
    if not visits:
        return {}
    days = days_of(link)
    photos: dict[int | None, list[VisitPhoto]] = {}
    for photo in photos_for(link, days).filter(visit__in=[visit.pk for visit in visits]):
        photos.setdefault(photo.visit_id, []).append(photo)
    return {
        visit.pk: ProvedVisit(
            visit=visit,
            photos=tuple(with_words(photos.get(visit.pk, []), visit.visited_on)),
            signed=signed_words(visit, link, with_name=part.decides),
        )
        if any(one.hold(visit.visited_on) for one in days)
        else ProvedVisit(visit=visit)
        for visit in visits
    }


def with_words(photos: list[VisitPhoto], day: dt.date) -> Iterable[OwnersPhoto]:
    """Photographs numbered, with what they show."""
    for number, photo in enumerate(photos, start=1):
        told = {"number": number, "day": date_format(day, "j F Y")}
        if photo.kind == VisitPhoto.Kind.LID_BACK:
            alt = gettext("Photo %(number)s: the cover back on, %(day)s") % told
            yield OwnersPhoto(photo, gettext("The cover back on"), alt)
        else:
            alt = gettext("Photo %(number)s: what was found, %(day)s") % told
            yield OwnersPhoto(photo, gettext("What was found"), alt)


def signed_words(visit: Visit, link: OwnerLink, *, with_name: bool) -> str:
    """Who signed and how; a name for who decides about the place, or their own."""
    name = visit.signed_by
    if not with_name and name.casefold() != link.person.name.casefold():
        name = ""
    if visit.signed_how == Visit.Signed.NOBODY:
        return gettext("Nobody was at home to sign")
    if visit.signed_how == Visit.Signed.DRAWN:
        if not name:
            return gettext("Signed on the screen")
        return gettext("Signed on the screen: %(name)s") % {"name": name}
    if visit.signed_how == Visit.Signed.TYPED:
        if not name:
            return gettext("Signed by typing the name")
        return gettext("Signed by typing the name: %(name)s") % {"name": name}
    return ""
