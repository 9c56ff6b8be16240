"""What was tipped, where, and what it cost."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, ClassVar, Self

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import OwnedModel, OwnedQuerySet

from .fleet import Tanker, Works
from .rounds import Round, Stop

if TYPE_CHECKING:
    import datetime as dt

# No tanker on the road holds more: common practice, no source.
MOST_TIPPED_LITRES = 60_000


class TipQuerySet(OwnedQuerySet["Tip"]):
    """Questions about tips."""

    def between(self, first: dt.datetime, end: dt.datetime) -> Self:
        """Tipped from `first` until before `end`."""
        return self.filter(tipped_at__gte=first, tipped_at__lt=end)


class Tip(OwnedModel):
    """One load, or a part of one, let out at a works.

    A correction changes the row, whose history keeps what it said. `key` is made on the telephone,
    so that a repeat is the same tip.
    """

    changed_by = "visit"

    class MeasuredBy(models.TextChoices):
        METER = "meter", "Meter of the works"
        WEIGHBRIDGE = "weighbridge", "Weighbridge"
        GAUGE = "gauge", "Gauge of the tanker"
        ESTIMATE = "estimate", "Estimate by eye"

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    tanker = models.ForeignKey(Tanker, on_delete=models.PROTECT, related_name="tips")
    works = models.ForeignKey(Works, on_delete=models.PROTECT, related_name="tips")
    round = models.ForeignKey(
        Round, null=True, blank=True, on_delete=models.SET_NULL, related_name="tips"
    )
    stop = models.OneToOneField(
        Stop, null=True, blank=True, on_delete=models.SET_NULL, related_name="tip"
    )
    tipped_at = models.DateTimeField()
    litres = models.PositiveIntegerField(validators=[MaxValueValidator(MOST_TIPPED_LITRES)])
    measured_by = models.CharField(max_length=12, choices=MeasuredBy, default=MeasuredBy.METER)
    kilograms = models.PositiveIntegerField(null=True, blank=True)
    ticket = models.CharField(max_length=60)
    emptied_out = models.BooleanField(
        default=True, help_text="Nothing stayed on board; otherwise a part was tipped."
    )
    charge_pence = models.PositiveIntegerField(
        null=True, blank=True, help_text="By the tariff of the works on the day."
    )
    waste_codes = models.JSONField(default=list, blank=True, help_text="Codes of what was tipped.")
    agreed_with = models.CharField(
        max_length=120, blank=True, help_text="Who at the works took what it does not usually take."
    )
    remark = models.CharField(max_length=300, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    objects = TipQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["tipped_at", "id"]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "tipped_at"]),
            models.Index(fields=["tanker", "tipped_at"]),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(litres__lte=MOST_TIPPED_LITRES),
                name="no_tanker_tips_more_than_it_can_hold",
            ),
            models.CheckConstraint(condition=~models.Q(ticket=""), name="a_tip_has_its_ticket"),
        ]

    def __str__(self) -> str:
        return f"Ticket {self.ticket}, {self.works}"
