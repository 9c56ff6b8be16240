"""What every row that belongs to an organisation has in common."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, ClassVar, Self, TypeVar

from django.db import models

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from .organisations import Organisation, User


OwnedT = TypeVar("OwnedT", bound=models.Model)


class OwnedQuerySet(models.QuerySet[OwnedT]):
    """Rows of organisations; the path to the organisation is `organisation`."""

    organisation_path: ClassVar[str] = "organisation"

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Rows of the organisations in which `user` holds a membership; none for a stranger."""
        if not user.is_authenticated:
            return self.none()
        return self.filter(**{f"{self.organisation_path}__in": user.organisation_ids()})


class OwnedModel(models.Model):
    """A row that belongs to one organisation and is named in URLs by `public_id`."""

    # Which of the actions of customers.access a change of this row is.
    changed_by: ClassVar[str] = "register"

    public_id = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    organisation = models.ForeignKey(
        "customers.Organisation", on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        abstract = True

    def changing_organisations(self) -> tuple[Organisation, ...]:
        """Organisations whose members may be allowed to change this row."""
        return (self.organisation,)
