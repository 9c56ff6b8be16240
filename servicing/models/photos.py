"""Photographs taken on a visit."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, ClassVar, Self

from django.conf import settings
from django.db import models

from customers.models import OwnedModel, OwnedQuerySet

from .systems import System
from .visits import Visit

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from customers.models import User


class VisitPhotoQuerySet(OwnedQuerySet["VisitPhoto"]):
    """Questions about photographs."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Those at own systems, and those that a crew of the user's organisation took."""
        if not user.is_authenticated:
            return self.none()
        mine = user.organisation_ids()
        return self.filter(models.Q(organisation__in=mine) | models.Q(taken_for__in=mine))

    def that_show_the_way(self) -> Self:
        """Of the cover, from visits that happened: what helps the next crew to find it."""
        return self.filter(
            kind__in=(VisitPhoto.Kind.LID_BEFORE, VisitPhoto.Kind.LID_BACK), visit__isnull=False
        )


def photo_path(photo: VisitPhoto, _name: str) -> str:
    """Where the file goes: nothing of the name it came with, nothing that can be guessed."""
    return f"photos/{photo.organisation.public_id}/{photo.taken_at:%Y}/{photo.public_id}.jpg"


class VisitPhoto(OwnedModel):
    """One photograph, made anew by us from what was sent: no place, no device stays in it.

    It arrives before its sheet does, so `visit` is empty until the sheet with the same
    `sheet_key` is recorded.
    """

    changed_by = "visit"

    class Kind(models.TextChoices):
        LID_BEFORE = "lid_before", "Cover before"
        FOUND = "found", "What was found"
        LID_BACK = "lid_back", "Cover back on"

    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="photos")
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="photos"
    )
    key = models.UUIDField(
        default=uuid.uuid4, unique=True, help_text="Made on the crew's phone: a repeat is the same."
    )
    sheet_key = models.UUIDField(db_index=True, help_text="The sheet it belongs to.")
    kind = models.CharField(max_length=12, choices=Kind)
    image = models.FileField(upload_to=photo_path, max_length=200)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    taken_at = models.DateTimeField()
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_for = models.ForeignKey(
        "customers.Organisation",
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Whose crew took it.",
    )

    objects = VisitPhotoQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["taken_at", "id"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(kind__in=["lid_before", "found", "lid_back"]),
                name="photo_is_of_a_known_kind",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.system.reference}"
