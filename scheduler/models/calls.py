"""Telephone calls to owners: to be made, or made and what came of them."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models

from customers.models import OwnedModel, OwnedQuerySet, Person

from .jobs import Job


class Call(OwnedModel):
    """One call about one job; until it was made it has no outcome."""

    class Outcome(models.TextChoices):
        AGREED = "agreed", "Rung: agreed"
        NO_ANSWER = "no_answer", "Rung: no answer"
        NOT_WANTED = "not_wanted", "Rung: not wanted"

    changed_by = "tell"

    key = models.CharField(max_length=200, unique=True)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="calls")
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="calls"
    )
    why = models.CharField(max_length=300)
    useful_until = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=10, choices=Outcome, blank=True)
    words = models.CharField(max_length=500, blank=True)
    rung_at = models.DateTimeField(null=True, blank=True)
    rung_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = OwnedQuerySet["Call"].as_manager()

    class Meta:
        ordering: ClassVar = ["-created_at", "-id"]
        indexes: ClassVar = [models.Index(fields=["organisation", "outcome", "useful_until"])]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(outcome="", rung_at__isnull=True)
                | (~models.Q(outcome="") & models.Q(rung_at__isnull=False)),
                name="a_call_with_an_outcome_was_made",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_outcome_display() or 'To ring'}: {self.job}"
