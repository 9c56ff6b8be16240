"""What was erased for good: who did it, when, why, what went and what had to stay."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models

from .owned import OwnedModel, OwnedQuerySet
from .people import Person


class Removal(OwnedModel):
    """One act of erasing. It says how much of what went, never what stood there."""

    class Kind(models.TextChoices):
        PERSON = "person", "A person's data, as asked"
        YEARS = "years", "Records past their years"

    changed_by = "manage"

    kind = models.CharField(max_length=10, choices=Kind)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="removals"
    )
    done_at = models.DateTimeField()
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    because = models.CharField(max_length=300)
    removed = models.JSONField(default=dict, help_text="What went: a label and how many.")
    kept = models.JSONField(default=list, help_text="What stays: label, until when, and why.")

    objects = OwnedQuerySet["Removal"].as_manager()

    class Meta:
        ordering: ClassVar = ["-done_at", "-id"]
        constraints: ClassVar = [
            models.CheckConstraint(condition=~models.Q(because=""), name="a_removal_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.done_at:%Y-%m-%d}"
