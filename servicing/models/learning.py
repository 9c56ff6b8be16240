"""What the systems of one organisation have taught, kept between two lessons."""

from __future__ import annotations

from typing import ClassVar

from django.db import models

from customers.models import OwnedQuerySet


class FleetLearning(models.Model):
    """One row an organisation: the prior its forecasts begin from, and what it rests on."""

    organisation = models.OneToOneField(
        "customers.Organisation", on_delete=models.CASCADE, related_name="fleet_learning"
    )
    median_rate = models.FloatField(help_text="Litres a person in the first year.")
    log_sd = models.FloatField(help_text="Spread between households, of logarithms.")
    exponent_weights = models.JSONField(help_text="Weights of the curves of accumulation.")
    dip_error = models.FloatField(help_text="Multiple of the usual error of a dip.")
    dip_doubt = models.FloatField(
        default=1.0, help_text="How far dips may differ in that error: 1 as the book says, 0 not."
    )
    systems = models.PositiveIntegerField(default=0)
    dips = models.PositiveIntegerField(default=0)
    repeat_pairs = models.PositiveIntegerField(default=0)
    chamber_rate = models.FloatField(help_text="Chambers found in trouble, a year.")
    chamber_shape = models.FloatField()
    chambers = models.PositiveIntegerField(default=0)
    filter_rate = models.FloatField(help_text="Effluent filters found in trouble, a year.")
    filter_shape = models.FloatField()
    filters = models.PositiveIntegerField(default=0)
    evidence = models.JSONField(
        default=dict, help_text="Counts of dips and looks on record when this was learned."
    )
    learned_on = models.DateField()
    learned_at = models.DateTimeField()

    objects = OwnedQuerySet["FleetLearning"].as_manager()

    class Meta:
        verbose_name_plural = "fleet learning"

    def __str__(self) -> str:
        return f"{self.organisation}: {self.median_rate:.0f} L from {self.dips} dips"


class StratumLearning(models.Model):
    """What one kind of place has taught apart from the rest; only where enough was measured."""

    class Stratum(models.TextChoices):
        HOUSE = "house", "Houses lived in all year"
        PART_YEAR = "part_year", "Holiday lets and second homes"
        BUSINESS = "business", "Pubs, offices and other business"
        PLANT = "plant", "Treatment plants"

    organisation = models.ForeignKey(
        "customers.Organisation", on_delete=models.CASCADE, related_name="stratum_learning"
    )
    stratum = models.CharField(max_length=20, choices=Stratum)
    median_rate = models.FloatField(help_text="Litres a person in the first year.")
    log_sd = models.FloatField(help_text="Spread between households, of logarithms.")
    exponent_weights = models.JSONField(help_text="Weights of the curves of accumulation.")
    dip_error = models.FloatField(help_text="Multiple of the usual error of a dip.")
    dip_doubt = models.FloatField(default=1.0)
    systems = models.PositiveIntegerField()
    dips = models.PositiveIntegerField()
    repeat_pairs = models.PositiveIntegerField(default=0)

    objects = OwnedQuerySet["StratumLearning"].as_manager()

    class Meta:
        verbose_name_plural = "stratum learning"
        ordering: ClassVar = ["stratum"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "stratum"], name="one_lesson_a_kind_of_place"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.organisation}, {self.get_stratum_display()}: {self.median_rate:.0f} L"
