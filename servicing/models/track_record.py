"""What was said beforehand beside what was found, and what a measurement would be worth."""

from __future__ import annotations

from typing import ClassVar, Self

from django.db import models
from django.db.models import F
from django.utils import timezone

from customers.models import OwnedQuerySet

from .forecasts import PastForecast
from .systems import System


class CheckedForecast(models.Model):
    """A past forecast held against one later measurement. Litres, as stored beforehand."""

    organisation = models.ForeignKey(
        "customers.Organisation", on_delete=models.CASCADE, related_name="+"
    )
    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="checked_forecasts")
    past = models.ForeignKey(PastForecast, on_delete=models.CASCADE, related_name="+")
    made_on = models.DateField()
    found_on = models.DateField()
    p10 = models.FloatField()
    p50 = models.FloatField()
    p90 = models.FloatField()
    found = models.FloatField()
    volume = models.FloatField(help_text="Working volume when the forecast was made.")
    newest = models.BooleanField(help_text="No later forecast came before this measurement.")
    checked_at = models.DateTimeField(default=timezone.now)

    objects = OwnedQuerySet["CheckedForecast"].as_manager()

    class Meta:
        ordering: ClassVar = ["-found_on", "-made_on"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["past", "found_on"], name="a_forecast_is_checked_once"),
        ]
        indexes: ClassVar = [models.Index(fields=["organisation", "found_on"])]

    def __str__(self) -> str:
        return f"{self.system.reference}: said on {self.made_on}, found on {self.found_on}"


class DipWorthQuerySet(OwnedQuerySet["DipWorth"]):
    """Questions about what a measurement is worth."""

    def that_pay(self) -> Self:
        """Systems in use whose measurement saves more than it costs, most worth first."""
        rows = self.filter(system__retired_on__isnull=True, saves_pence__gt=F("costs_pence"))
        return rows.annotate(worth_pence=F("saves_pence") - F("costs_pence")).order_by(
            "-worth_pence", "system__reference"
        )


class DipWorth(models.Model):
    """What measuring one tank now would bring until it is next emptied."""

    system = models.OneToOneField(System, on_delete=models.CASCADE, related_name="dip_worth")
    organisation = models.ForeignKey(
        "customers.Organisation", on_delete=models.CASCADE, related_name="+"
    )
    saves_pence = models.FloatField()
    costs_pence = models.FloatField()
    range_days = models.FloatField(help_text="Likely range of the date, tenth to ninetieth.")
    range_days_after = models.FloatField(help_text="The same after a measurement, on average.")
    worked_out_on = models.DateField()

    objects = DipWorthQuerySet.as_manager()

    class Meta:
        indexes: ClassVar = [models.Index(fields=["organisation", "saves_pence"])]

    def __str__(self) -> str:
        return f"{self.system.reference}: a dip saves {self.saves_pence:.0f} pence"
