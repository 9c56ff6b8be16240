"""Aftercare plans and the agreements sold on them."""

from __future__ import annotations

import datetime as dt
from typing import ClassVar, Self

from django.db import models
from simple_history.models import HistoricalRecords

from .owned import OwnedModel, OwnedQuerySet
from .people import Person
from .premises import Premises


class AftercarePlan(OwnedModel):
    """What an installer offers: visits a year, what they include, and the price."""

    name = models.CharField(max_length=80)
    includes = models.TextField(blank=True)
    price_pence = models.PositiveIntegerField(help_text="A year, in pence, before VAT.")
    emptyings_per_year = models.PositiveSmallIntegerField(default=0)
    service_visits_per_year = models.PositiveSmallIntegerField(default=0)
    inspections_per_year = models.PositiveSmallIntegerField(default=0)
    emptying_interval_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Longest time between emptyings that the plan promises."
    )
    offered = models.BooleanField(default=True)

    objects = OwnedQuerySet["AftercarePlan"].as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="plan_names_differ"),
        ]

    def __str__(self) -> str:
        return self.name


class AgreementQuerySet(OwnedQuerySet["Agreement"]):
    """Questions about agreements."""

    def current(self, on: dt.date) -> Self:
        """Started by `on` and not ended before it: neither run out nor ended early."""
        return self.filter(
            models.Q(ended_on__isnull=True) | models.Q(ended_on__gt=on),
            starts_on__lte=on,
            ends_on__gte=on,
        )


class Agreement(OwnedModel):
    """Aftercare sold for one place over one term."""

    premises = models.ForeignKey(Premises, on_delete=models.PROTECT, related_name="agreements")
    plan = models.ForeignKey(AftercarePlan, on_delete=models.PROTECT, related_name="agreements")
    payer = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL)
    starts_on = models.DateField()
    ends_on = models.DateField()
    price_pence = models.PositiveIntegerField(help_text="A year, in pence, before VAT.")
    renews_itself = models.BooleanField(default=False)
    ended_on = models.DateField(null=True, blank=True)
    ended_reason = models.CharField(max_length=200, blank=True)

    objects = AgreementQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(ends_on__gte=models.F("starts_on")),
                name="agreement_ends_after_it_starts",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["premises", "ends_on"]),
            models.Index(fields=["organisation", "ends_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.plan} for {self.premises}"
