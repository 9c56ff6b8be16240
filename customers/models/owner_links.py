"""Links that let an owner see one place without an account."""

from __future__ import annotations

from django.db import models
from django.utils import timezone
from simple_history.models import HistoricalRecords

from .owned import OwnedModel, OwnedQuerySet
from .people import Person
from .premises import Premises


class OwnerLink(OwnedModel):
    """Leave for one person to open the page of one place; the URL carries it signed."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="links")
    premises = models.ForeignKey(Premises, on_delete=models.CASCADE, related_name="links")
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_opened_at = models.DateTimeField(null=True, blank=True)
    times_opened = models.PositiveIntegerField(default=0)

    objects = OwnedQuerySet["OwnerLink"].as_manager()
    history = HistoricalRecords(excluded_fields=["last_opened_at", "times_opened"])

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["person", "premises"],
                condition=models.Q(revoked_at__isnull=True),
                name="one_open_link_per_person_and_premises",
            ),
        )

    def __str__(self) -> str:
        return f"{self.person} at {self.premises}"

    def opened(self) -> None:
        """Count a look, so that the office can say when the owner last saw the page."""
        type(self).objects.filter(pk=self.pk).update(
            last_opened_at=timezone.now(), times_opened=models.F("times_opened") + 1
        )
