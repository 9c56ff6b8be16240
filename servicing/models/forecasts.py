"""What we expect, one row a system, and the trail of what we expected before."""

from __future__ import annotations

import datetime as dt
from bisect import bisect_left
from typing import ClassVar

from django.db import models

from customers.models import OwnedQuerySet

from .systems import System

FULL = 0.99  # of the working volume: no more can be told apart from full


class ForecastFigures(models.Model):
    """The figures of one forecast on the day it was made."""

    class State(models.TextChoices):
        READY = "ready", "Forecast"
        FIXED = "fixed", "By interval only"
        MISSING = "missing", "Not enough is known"

    state = models.CharField(max_length=10, choices=State)
    made_on = models.DateField()
    model_version = models.CharField(max_length=20)
    due_on = models.DateField(null=True, blank=True)
    binding_rule = models.CharField(max_length=40, blank=True)
    removal_p10 = models.DateField(null=True, blank=True)
    removal_p50 = models.DateField(null=True, blank=True)
    removal_p90 = models.DateField(null=True, blank=True)
    ceiling_on = models.DateField(null=True, blank=True)
    level_p10 = models.FloatField(null=True, blank=True)
    level_p50 = models.FloatField(null=True, blank=True)
    level_p90 = models.FloatField(null=True, blank=True)
    trigger_litres = models.FloatField(null=True, blank=True)
    working_volume_litres = models.FloatField(null=True, blank=True)
    rate_p50 = models.FloatField(null=True, blank=True, help_text="Litres a person in year one.")
    dips_used = models.PositiveSmallIntegerField(default=0)
    since = models.DateField(null=True, blank=True, help_text="Start of this cycle.")

    class Meta:
        abstract = True


class Forecast(ForecastFigures):
    """The forecast in force for a system."""

    system = models.OneToOneField(System, on_delete=models.CASCADE, related_name="forecast")
    organisation = models.ForeignKey(
        "customers.Organisation", on_delete=models.PROTECT, related_name="+"
    )
    service_due_on = models.DateField(null=True, blank=True)
    inspect_due_on = models.DateField(null=True, blank=True)
    over_risk = models.JSONField(
        default=dict, help_text="Probability of being over the trigger by ISO date."
    )
    curve = models.JSONField(default=list, help_text="Points of the chart: date, p10, p50, p90.")
    reasons = models.JSONField(default=list, help_text="Sentences: why this date.")
    assumptions = models.JSONField(default=list, help_text="Sentences: what was assumed.")
    questions = models.JSONField(default=list, help_text="Sentences: what does not add up.")
    inputs_digest = models.CharField(
        max_length=64, blank=True, help_text="Fingerprint of all it was worked out from."
    )
    kept_on = models.DateField(
        null=True, blank=True, help_text="Day of the last past forecast that was kept of it."
    )
    kept_due_on = models.DateField(null=True, blank=True, help_text="What that one said.")
    refreshed_at = models.DateTimeField()

    objects = OwnedQuerySet["Forecast"].as_manager()

    class Meta:
        indexes: ClassVar = [
            models.Index(fields=["organisation", "due_on"]),
            models.Index(fields=["organisation", "inspect_due_on"]),
            models.Index(fields=["organisation", "service_due_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.system.reference}: due {self.due_on}"

    def chance_over(self, day: dt.date) -> float | None:
        """Chance that the system is over its limit on a day; None where none is forecast.

        Between the days of the forecast it runs straight, outside them the nearest holds.
        """
        if not self.over_risk:
            return None
        days = sorted(self.over_risk)
        chances = [float(self.over_risk[each]) for each in days]
        place = bisect_left(days, day.isoformat())
        if place in {0, len(days)}:
            return chances[min(place, len(days) - 1)]
        before, after = (dt.date.fromisoformat(each) for each in days[place - 1 : place + 1])
        part = (day - before).days / (after - before).days
        return chances[place - 1] + part * (chances[place] - chances[place - 1])

    @property
    def is_full(self) -> bool:
        """Nine times in ten there is no room left below the outlet."""
        if self.level_p10 is None or not self.working_volume_litres:
            return False
        return self.level_p10 >= FULL * self.working_volume_litres

    @property
    def full_share(self) -> float | None:
        """Likely share of the working volume taken by sludge and scum, 0 to 1."""
        if self.level_p50 is None or not self.working_volume_litres:
            return None
        return min(1.0, self.level_p50 / self.working_volume_litres)


class PastForecast(ForecastFigures):
    """A forecast as it stood, never changed afterwards: what scoring is done against."""

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="past_forecasts")
    levels = models.JSONField(
        default=list, help_text="Litres to come, as said that day: date, p10, p50, p90."
    )

    class Meta:
        ordering: ClassVar = ["-made_on", "-id"]
        indexes: ClassVar = [models.Index(fields=["system", "made_on"])]

    def __str__(self) -> str:
        return f"{self.system.reference}: due {self.due_on}, said on {self.made_on}"
