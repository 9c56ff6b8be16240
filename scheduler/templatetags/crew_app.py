"""What the crew's pages need beside their words: addresses for the scripts, the way to a cover."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import mark_safe

from servicing.charts import TwoCorners, away, lid_sketch

if TYPE_CHECKING:
    from customers.models import User
    from servicing.models import System

register = template.Library()
NEAREST_M = 2.0  # closer than this the two positions are one measurement


@register.simple_tag
def crew_settings(user: User) -> dict[str, str]:
    """Addresses, and for whom this telephone speaks."""
    return {
        "user": str(user.pk),
        "worker": reverse("scheduler:crew_worker"),
        "today": reverse("scheduler:today"),
        "takeAlong": reverse("scheduler:crew_take"),
        "token": reverse("scheduler:crew_token"),
        "deliver": reverse("scheduler:crew_deliver"),
        "photo": reverse("scheduler:crew_photo"),
        "signOut": reverse("logout"),
    }


@register.simple_tag
def made_at() -> int:
    """Seconds since 1970: by it a page that was kept knows its age."""
    return int(timezone.now().timestamp())


@register.inclusion_tag("scheduler/sheet/_lid.html")
def way_to_lid(system: System) -> dict[str, Any]:
    """Distances from corners, and from the place's own point, with a sketch where it can be drawn."""
    told: dict[str, Any] = {"system": system, "sketch": "", "away": None}
    corners = two_corners(system)
    if corners is not None:
        # Made by our own drawing, which escapes every word.
        told["sketch"] = mark_safe(lid_sketch(corners, key=f"lid-{system.pk}"))  # noqa: S308
    place = system.premises
    here = position(place.latitude, place.longitude)
    there = position(system.lid_latitude, system.lid_longitude)
    if here and there:
        metres, point = away(here, there)
        told["away"] = (round(metres), point) if metres >= NEAREST_M else None
    return told


def position(latitude: float | None, longitude: float | None) -> tuple[float, float] | None:
    """Both numbers or nothing."""
    return None if latitude is None or longitude is None else (latitude, longitude)


def two_corners(system: System) -> TwoCorners | None:
    """The measurements, where all of them were taken."""
    one, other, apart = system.lid_corner_m, system.lid_other_corner_m, system.corners_apart_m
    if one is None or other is None or not apart:
        return None
    return TwoCorners(system.lid_corner, one, system.lid_other_corner, other, apart)
