"""Places with something buried in the ground, and who has to do with them."""

from __future__ import annotations

from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from .owned import OwnedModel, OwnedQuerySet
from .people import Person

LATITUDE = [MinValueValidator(-90), MaxValueValidator(90)]
LONGITUDE = [MinValueValidator(-180), MaxValueValidator(180)]


class Premises(OwnedModel):
    """A house, pub, farm or works, with what a tanker must know to get there."""

    class Surface(models.TextChoices):
        HARD = "hard", "Hard standing"
        GRAVEL = "gravel", "Gravel"
        GRASS = "grass", "Grass"
        TRACK = "track", "Farm track"

    class LocationSource(models.TextChoices):
        MEASURED = "measured", "Measured on site"
        LIST = "list", "From the list it was brought in with"
        GRID = "grid", "Grid reference"
        MAP = "map", "Pointed at on the map"
        POSTCODE = "postcode", "Centre of the postcode area: approximate"

    class Activity(models.TextChoices):
        """What goes on there, as far as VAT asks: the divisions are those of the SIC of 1980."""

        HOUSEHOLD = "household", "A household"
        FARM = "farm", "A farm"
        HOSPITALITY = "hospitality", "Pub, hotel, camp site or holiday let"
        BUSINESS = "business", "Another business or body"
        INDUSTRIAL = "industrial", "Industry, manufacturing or building (SIC 1980 divisions 1–5)"

    reference = models.CharField(max_length=40, blank=True)
    name = models.CharField(max_length=160, blank=True)
    address = models.TextField(blank=True)
    town = models.CharField(max_length=80, blank=True)
    postcode = models.CharField(max_length=12, blank=True)
    latitude = models.FloatField(null=True, blank=True, validators=LATITUDE)
    longitude = models.FloatField(null=True, blank=True, validators=LONGITUDE)
    location_source = models.CharField(max_length=10, choices=LocationSource, blank=True)
    time_zone = models.CharField(
        max_length=64, blank=True, help_text="Only where it differs from the organisation's."
    )
    gate_width_mm = models.PositiveIntegerField(null=True, blank=True)
    height_limit_mm = models.PositiveIntegerField(null=True, blank=True)
    weight_limit_kg = models.PositiveIntegerField(null=True, blank=True)
    hose_run_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    level_difference_m = models.FloatField(
        null=True, blank=True, help_text="Depth of the tank below the tanker."
    )
    surface = models.CharField(max_length=10, choices=Surface, blank=True)
    dog = models.BooleanField(default=False)
    gate_code = models.CharField(
        max_length=60, blank=True, help_text="Shown on the crew's job sheet only; never sent."
    )
    access_note = models.TextField(blank=True)
    activity_code = models.CharField(
        max_length=8,
        blank=True,
        help_text="SIC code of the business here, for transfer notes; empty for a household.",
    )

    activity = models.CharField(max_length=12, choices=Activity, blank=True)
    activity_declared = models.CharField(
        max_length=200, blank=True, help_text="Who told us so, and when."
    )

    objects = OwnedQuerySet["Premises"].as_manager()
    history = HistoricalRecords(excluded_fields=["gate_code"])

    class Meta:
        verbose_name_plural = "premises"
        indexes: ClassVar = [
            models.Index(fields=["organisation", "postcode"]),
            models.Index(fields=["organisation", "name"]),
        ]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(latitude__isnull=True, longitude__isnull=True)
                | models.Q(
                    latitude__gte=-90, latitude__lte=90, longitude__gte=-180, longitude__lte=180
                ),
                name="premises_position_is_on_earth",
            ),
        ]

    def __str__(self) -> str:
        return self.name or self.address.split("\n")[0] or self.postcode or self.reference

    @property
    def zone_name(self) -> str:
        """Name of the time zone in which days and visiting hours here are meant."""
        return self.time_zone or self.organisation.time_zone

    @property
    def one_line_address(self) -> str:
        """Address with town and postcode on one line, empty parts left out."""
        parts = [*self.address.splitlines(), self.town, self.postcode]
        return ", ".join(part.strip() for part in parts if part.strip())


class Party(models.Model):
    """What a person is to a place, and from when to when."""

    class Role(models.TextChoices):
        OWNER = "owner", "Owner"
        OCCUPIER = "occupier", "Occupier"
        OPERATOR = "operator", "Operator (legal duty-holder)"
        PAYER = "payer", "Payer"
        SITE_CONTACT = "site_contact", "Site contact"

    premises = models.ForeignKey(Premises, on_delete=models.CASCADE, related_name="parties")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="parties")
    role = models.CharField(max_length=20, choices=Role)
    since = models.DateField(null=True, blank=True)
    until = models.DateField(null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name_plural = "parties"
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["premises", "person", "role"],
                condition=models.Q(until__isnull=True),
                name="one_open_party_per_person_and_role",
            ),
            models.CheckConstraint(
                condition=models.Q(until__isnull=True)
                | models.Q(since__isnull=True)
                | models.Q(until__gte=models.F("since")),
                name="party_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.get_role_display()}"
