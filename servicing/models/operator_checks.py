"""The look round that whoever runs a system owes it, month by month."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models

from customers.models import OwnedModel, OwnedQuerySet, Person

from .systems import System


class OperatorCheck(OwnedModel):
    """One look round, from outside, by the operator or somebody for them."""

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="operator_checks")
    checked_on = models.DateField()
    all_well = models.BooleanField(default=True)
    words = models.CharField(max_length=500, blank=True)
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="operator_checks"
    )
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    objects = OwnedQuerySet["OperatorCheck"].as_manager()

    class Meta:
        ordering: ClassVar = ["-checked_on", "-id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["system", "checked_on"], name="one_operator_check_a_day"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system.reference} looked at on {self.checked_on}"
