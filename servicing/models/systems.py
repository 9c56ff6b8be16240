"""Installed systems and their parts."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import OwnedModel, OwnedQuerySet, Premises
from customers.models.premises import LATITUDE, LONGITUDE

if TYPE_CHECKING:
    import datetime as dt


class SystemQuerySet(OwnedQuerySet["System"]):
    """Questions about systems."""

    def in_use(self) -> Self:
        """Not taken out of use."""
        return self.filter(retired_on__isnull=True)

    def due_by(self, day: dt.date) -> Self:
        """In use with a removal due on or before `day`; a system without a forecast is not due."""
        return self.in_use().filter(forecast__due_on__lte=day)


class System(OwnedModel):
    """One installation: a tank or plant with its chambers and its way out."""

    class Kind(models.TextChoices):
        SEPTIC_TANK = "septic_tank", "Septic tank"
        CESSPOOL = "cesspool", "Cesspool"
        PACKAGE_PLANT = "package_plant", "Package treatment plant"
        GREASE_TRAP = "grease_trap", "Grease trap"
        CHAMBER = "chamber", "Inspection chamber"
        SOAKAWAY = "soakaway", "Soakaway"

    class Discharge(models.TextChoices):
        DRAINAGE_FIELD = "drainage_field", "Drainage field"
        SOAKAWAY = "soakaway", "Soakaway"
        WATERCOURSE = "watercourse", "Watercourse"
        SEWER = "sewer", "Sewer"
        NONE = "none", "None (sealed)"

    HOLDS_SLUDGE: ClassVar = (Kind.SEPTIC_TANK, Kind.CESSPOOL, Kind.PACKAGE_PLANT, Kind.GREASE_TRAP)

    premises = models.ForeignKey(Premises, on_delete=models.PROTECT, related_name="systems")
    reference = models.CharField(max_length=40)
    kind = models.CharField(max_length=20, choices=Kind)
    make_and_model = models.CharField(max_length=120, blank=True)
    serial_number = models.CharField(max_length=60, blank=True)
    installed_on = models.DateField(null=True, blank=True)
    design_population = models.PositiveSmallIntegerField(null=True, blank=True)
    bedrooms = models.PositiveSmallIntegerField(null=True, blank=True)
    discharge = models.CharField(max_length=20, choices=Discharge, blank=True)
    registration = models.CharField(
        max_length=60, blank=True, help_text="Registration, consent or permit number."
    )
    registration_holder = models.CharField(
        max_length=160, blank=True, help_text="In whose name the registration or permit is."
    )
    registration_valid_to = models.DateField(
        null=True, blank=True, help_text="Only where the registration or permit runs out."
    )
    under_permit = models.BooleanField(
        default=False, help_text="Runs under a permit of its own, not under the general rules."
    )
    check_reminders = models.BooleanField(
        default=False,
        verbose_name="reminders of the monthly check",
        help_text="The operator is reminded each month to look at it, from outside.",
    )
    maker_interval_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Longest time between emptyings the maker allows."
    )
    service_interval_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Time between service visits the maker asks for."
    )
    last_emptied_on = models.DateField(
        null=True, blank=True, help_text="Last emptying known, by us or by anybody."
    )
    last_serviced_on = models.DateField(null=True, blank=True)
    lid_latitude = models.FloatField(null=True, blank=True, validators=LATITUDE)
    lid_longitude = models.FloatField(null=True, blank=True, validators=LONGITUDE)
    lid_note = models.CharField(max_length=200, blank=True, help_text="Where to find the lid.")
    # How a crew finds a buried cover without satellites: two distances from two corners.
    lid_corner = models.CharField(max_length=80, blank=True)
    lid_corner_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    lid_other_corner = models.CharField(max_length=80, blank=True)
    lid_other_corner_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    corners_apart_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    notes = models.TextField(blank=True)
    retired_on = models.DateField(null=True, blank=True)
    ceiling_override_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Longest interval allowed here against the usual rule."
    )
    ceiling_override_reason = models.CharField(max_length=300, blank=True)
    ceiling_override_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    search_text = models.TextField(blank=True, editable=False)

    objects = SystemQuerySet.as_manager()
    history = HistoricalRecords(excluded_fields=["search_text"])

    class Meta:
        ordering: ClassVar = ["reference"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "reference"], name="system_references_differ"
            ),
            models.CheckConstraint(
                condition=models.Q(installed_on__isnull=True)
                | models.Q(last_emptied_on__isnull=True)
                | models.Q(last_emptied_on__gte=models.F("installed_on")),
                name="not_emptied_before_installed",
            ),
            models.CheckConstraint(
                condition=models.Q(ceiling_override_months__isnull=True)
                | ~models.Q(ceiling_override_reason=""),
                name="ceiling_override_needs_a_reason",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["organisation", "kind", "reference"])]

    def __str__(self) -> str:
        return f"{self.reference} ({self.get_kind_display().lower()})"

    @property
    def latitude(self) -> float | None:
        """Of the lid when it was measured, else of the place."""
        return self.premises.latitude if self.lid_latitude is None else self.lid_latitude

    @property
    def longitude(self) -> float | None:
        """Of the lid when it was measured, else of the place."""
        return self.premises.longitude if self.lid_longitude is None else self.lid_longitude

    @property
    def holds_sludge(self) -> bool:
        """Whether it is ever emptied by tanker."""
        return self.kind in self.HOLDS_SLUDGE


class Tank(models.Model):
    """One compartment of a system, in flow order."""

    class Shape(models.TextChoices):
        HORIZONTAL_CYLINDER = "horizontal_cylinder", "Cylinder lying down"
        UPRIGHT_CYLINDER = "upright_cylinder", "Cylinder standing up"
        RECTANGULAR = "rectangular", "Rectangular"
        SPHERE = "sphere", "Sphere-like"
        STRAPPING = "strapping", "By strapping table"
        UNKNOWN = "unknown", "Not known"

    class Material(models.TextChoices):
        CONCRETE = "concrete", "Concrete"
        BRICK = "brick", "Brick"
        PLASTIC = "plastic", "Plastic (PE, GRP)"
        STEEL = "steel", "Steel"

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="tanks")
    position = models.PositiveSmallIntegerField(default=1)
    label = models.CharField(max_length=60, blank=True)
    shape = models.CharField(max_length=24, choices=Shape, default=Shape.UNKNOWN)
    material = models.CharField(max_length=10, choices=Material, blank=True)
    working_volume_litres = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(50), MaxValueValidator(500_000)],
        help_text="Volume below the outlet.",
    )
    length_mm = models.PositiveIntegerField(null=True, blank=True)
    width_mm = models.PositiveIntegerField(null=True, blank=True)
    diameter_mm = models.PositiveIntegerField(null=True, blank=True)
    outlet_height_mm = models.PositiveIntegerField(
        null=True, blank=True, help_text="Outlet invert above the floor of the tank."
    )
    outlet_dip_pipe_mm = models.PositiveIntegerField(
        null=True, blank=True, help_text="How far the outlet dip pipe reaches below the liquid."
    )
    cover_above_floor_mm = models.PositiveIntegerField(
        null=True, blank=True, help_text="Rim of the cover above the floor of the tank."
    )
    strapping_table = models.JSONField(
        null=True, blank=True, help_text="Pairs of depth in mm and litres, rising."
    )

    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["system", "position"], name="tank_positions_differ"),
            models.CheckConstraint(
                condition=models.Q(working_volume_litres__isnull=True)
                | models.Q(working_volume_litres__gt=0),
                name="working_volume_is_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.label or f"Tank {self.position} of {self.system.reference}"


class Chamber(models.Model):
    """An opening on the drain that is looked into: inspection chamber, filter, distribution box."""

    class Kind(models.TextChoices):
        INSPECTION = "inspection", "Inspection chamber"
        EFFLUENT_FILTER = "effluent_filter", "Effluent filter"
        DISTRIBUTION = "distribution", "Distribution chamber"
        SAMPLING = "sampling", "Sampling chamber"

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="chambers")
    label = models.CharField(max_length=60)
    kind = models.CharField(max_length=20, choices=Kind, default=Kind.INSPECTION)
    diameter_mm = models.PositiveIntegerField(null=True, blank=True)
    depth_mm = models.PositiveIntegerField(null=True, blank=True)
    pipe_mm = models.PositiveIntegerField(null=True, blank=True)
    latitude = models.FloatField(null=True, blank=True, validators=LATITUDE)
    longitude = models.FloatField(null=True, blank=True, validators=LONGITUDE)
    last_inspected_on = models.DateField(null=True, blank=True)
    inspect_due_on = models.DateField(null=True, blank=True)
    inspect_because = models.CharField(max_length=300, blank=True)
    debris_advice = models.CharField(
        max_length=300, blank=True, help_text="What was mostly found, and what the owner can do."
    )

    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["label"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["system", "label"], name="chamber_labels_differ"),
        ]

    def __str__(self) -> str:
        return f"{self.label} of {self.system.reference}"


class DrainageField(models.Model):
    """Where the effluent soaks into the ground."""

    system = models.OneToOneField(System, on_delete=models.CASCADE, related_name="drainage_field")
    area_m2 = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.1)])
    percolation_s_per_mm = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0.1)], verbose_name="Vp, s/mm"
    )
    notes = models.TextField(blank=True)

    history = HistoricalRecords()

    def __str__(self) -> str:
        return f"Drainage field of {self.system.reference}"
