"""A place changes hands: from the day it is told of until it is completed or called off."""

from __future__ import annotations

from typing import ClassVar, Self

from django.conf import settings
from django.db import models
from simple_history.models import HistoricalRecords

from .owned import OwnedModel, OwnedQuerySet
from .people import Person
from .premises import Premises


class SaleQuerySet(OwnedQuerySet["Sale"]):
    """Questions about sales."""

    def open(self) -> Self:
        """Neither completed nor called off, whether the office has confirmed it or not."""
        return self.filter(completed_at__isnull=True, called_off_at__isnull=True)

    def confirmed(self) -> Self:
        """Open, and looked at by the office: a seller's word alone hands nothing over."""
        return self.open().filter(confirmed_at__isnull=False)


class Sale(OwnedModel):
    """One sale of one place; until it is completed it changes nothing else."""

    premises = models.ForeignKey(Premises, on_delete=models.PROTECT, related_name="sales")
    completes_on = models.DateField(verbose_name="day of completion")
    buyer_name = models.CharField(max_length=160, verbose_name="name of the new owner")
    buyer_email = models.EmailField(blank=True, verbose_name="e-mail of the new owner")
    buyer_phone = models.CharField(
        max_length=40, blank=True, verbose_name="telephone of the new owner"
    )
    buyer_address = models.TextField(blank=True, verbose_name="postal address of the new owner")
    occupiers_stay = models.BooleanField(default=False, verbose_name="the tenants stay")
    keeps_agreement = models.BooleanField(
        default=False, verbose_name="the new owner takes the agreement over"
    )
    asked_by = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        help_text="Who told us of it on the owner's page; empty where the office wrote it down.",
    )
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    buyer = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="bought"
    )
    completed_at = models.DateTimeField(null=True, blank=True)
    called_off_at = models.DateTimeField(null=True, blank=True)
    called_off_because = models.CharField(max_length=200, blank=True)

    objects = SaleQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["completes_on", "id"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["premises"],
                condition=models.Q(completed_at__isnull=True, called_off_at__isnull=True),
                name="one_open_sale_per_premises",
            ),
            models.CheckConstraint(
                condition=models.Q(completed_at__isnull=True)
                | models.Q(called_off_at__isnull=True),
                name="sale_is_completed_or_called_off",
            ),
        ]

    def __str__(self) -> str:
        return f"Sale of {self.premises}"

    @property
    def is_open(self) -> bool:
        """Neither completed nor called off."""
        return self.completed_at is None and self.called_off_at is None
