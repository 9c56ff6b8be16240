"""How an organisation writes to its owners, where that differs from what is usual."""

from __future__ import annotations

import datetime as dt
from typing import ClassVar

from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import OwnedModel, OwnedQuerySet


class TellingRules(OwnedModel):
    """Hours at which owners may be written to, and which way is tried first."""

    class Order(models.TextChoices):
        EMAIL_FIRST = "email", "By e-mail; a text message or a letter where there is none"
        TEXT_FIRST = "sms", "Short news by text message, all else by e-mail or letter"
        LETTER_FIRST = "post", "By letter; by e-mail where there is no postal address"

    changed_by = "manage"

    organisation = models.OneToOneField(
        "customers.Organisation", on_delete=models.PROTECT, related_name="telling_rules"
    )
    day_begins = models.TimeField(default=dt.time(8))
    day_ends = models.TimeField(default=dt.time(20))
    order = models.CharField(max_length=10, choices=Order, default=Order.EMAIL_FIRST)

    objects = OwnedQuerySet["TellingRules"].as_manager()
    history = HistoricalRecords()

    class Meta:
        verbose_name_plural = "telling rules"
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(day_ends__gt=models.F("day_begins")),
                name="telling_day_ends_after_it_begins",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.organisation}: {self.day_begins:%H:%M} to {self.day_ends:%H:%M}"


class LadderStep(OwnedModel):
    """One reminder as an organisation wants it; empty words mean ours.

    `other_words` holds subject and words by the code of a language other than English.
    """

    changed_by = "manage"

    name = models.CharField(max_length=40)
    days = models.SmallIntegerField(help_text="After the day; before it when negative.")
    in_use = models.BooleanField(default=True)
    subject = models.CharField(max_length=160, blank=True)
    words = models.TextField(blank=True)
    other_words = models.JSONField(default=dict, blank=True)

    objects = OwnedQuerySet["LadderStep"].as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["days"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "name"], name="one_ladder_step_of_a_name"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} at {self.days:+d} days"
