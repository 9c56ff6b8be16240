"""What was found and done on site."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, ClassVar, Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import OwnedModel, OwnedQuerySet

from .systems import Chamber, System, Tank

if TYPE_CHECKING:
    import datetime as dt

DEPTH = [MinValueValidator(0), MaxValueValidator(10_000)]


class VisitQuerySet(OwnedQuerySet["Visit"]):
    """Questions about visits."""

    def that_count(self) -> Self:
        """Carried out, not abandoned and not replaced by a correction."""
        return self.filter(abandoned_because="", replaced_by__isnull=True)

    def until(self, day: dt.date) -> Self:
        """On or before `day`."""
        return self.filter(visited_on__lte=day)


class Visit(OwnedModel):
    """One call at one system, by us or by somebody else whose record we were shown."""

    changed_by = "visit"

    class Ground(models.TextChoices):
        DRY = "dry", "Dry"
        WET = "wet", "Wet"
        SATURATED = "saturated", "Saturated"
        FROZEN = "frozen", "Frozen"

    class Signed(models.TextChoices):
        DRAWN = "drawn", "Signed on the screen"
        TYPED = "typed", "Name typed"
        NOBODY = "nobody", "Nobody at home"

    class Abandoned(models.TextChoices):
        NO_ACCESS = "no_access", "No access"
        LOCKED_GATE = "locked_gate", "Locked gate"
        LID_SEIZED = "lid_seized", "Lid seized or buried"
        LID_UNSAFE = "lid_unsafe", "Lid unsafe"
        DOG = "dog", "Dog"
        NOT_FOUND = "not_found", "Tank not found"
        TOO_FAR = "too_far", "Too far or too deep for the hose"
        TOO_WET = "too_wet", "Ground too wet"
        TANKER_FULL = "tanker_full", "Tanker full"
        WORKS_CLOSED = "works_closed", "Works closed"
        REFUSED = "refused", "Refused by the customer"
        UNSAFE = "unsafe", "Unsafe to work"

    system = models.ForeignKey(System, on_delete=models.PROTECT, related_name="visits")
    visited_on = models.DateField()
    arrived_at = models.DateTimeField(null=True, blank=True)
    left_at = models.DateTimeField(null=True, blank=True)
    crew_name = models.CharField(max_length=160, blank=True)
    vehicle_registration = models.CharField(max_length=20, blank=True)
    carried_out_by_others = models.BooleanField(default=False)
    ground = models.CharField(max_length=10, choices=Ground, blank=True)
    who_was_present = models.CharField(max_length=160, blank=True)
    abandoned_because = models.CharField(max_length=20, choices=Abandoned, blank=True)
    cautions_read = models.BooleanField(default=False)
    cautions_read_at = models.DateTimeField(null=True, blank=True)
    lid_back_on = models.BooleanField(default=False)
    no_photo_because = models.CharField(
        max_length=200, blank=True, help_text="Why there is no photo of the cover back on."
    )
    signed_how = models.CharField(max_length=6, choices=Signed, blank=True)
    signed_by = models.CharField(max_length=160, blank=True)
    signature = models.TextField(blank=True, help_text="The strokes, as the path of an SVG.")
    serviced = models.BooleanField(default=False, help_text="The plant was serviced.")
    notes = models.TextField(blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    sheet_key = models.UUIDField(
        default=uuid.uuid4, unique=True, help_text="Made on the crew's phone: a repeat is the same."
    )
    replaced_by = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )

    objects = VisitQuerySet.as_manager()
    history = HistoricalRecords()

    class Meta:
        ordering: ClassVar = ["-visited_on", "-id"]
        indexes: ClassVar = [models.Index(fields=["system", "visited_on"])]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(abandoned_because="")
                | models.Q(lid_back_on=True)
                | models.Q(carried_out_by_others=True),
                name="visit_closes_with_the_lid_back_on",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.system.reference} on {self.visited_on}"


class Dip(models.Model):
    """Levels measured in one tank, before anything was removed unless it says otherwise."""

    class Method(models.TextChoices):
        CORE_SAMPLER = "core_sampler", "Core sampler"
        DIP_STICK = "dip_stick", "Dip stick"
        ESTIMATE = "estimate", "Estimate by eye"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="dips")
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="dips")
    sludge_mm = models.PositiveIntegerField(null=True, blank=True, validators=DEPTH)
    scum_mm = models.PositiveIntegerField(null=True, blank=True, validators=DEPTH)
    litres = models.FloatField(null=True, blank=True, help_text="Sludge and scum, when so given.")
    liquid_level_mm = models.IntegerField(
        null=True, blank=True, help_text="Against the outlet invert: above it +, below it -."
    )
    method = models.CharField(max_length=20, choices=Method, default=Method.CORE_SAMPLER)
    after_removal = models.BooleanField(default=False)
    entered = models.JSONField(
        default=dict, blank=True, help_text="The figures as they were read, and which way."
    )

    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(sludge_mm__isnull=False)
                | models.Q(scum_mm__isnull=False)
                | models.Q(litres__isnull=False)
                | models.Q(liquid_level_mm__isnull=False),
                name="dip_says_something",
            ),
        ]

    def __str__(self) -> str:
        return f"Dip in {self.tank} on {self.visit.visited_on}"


class Emptying(models.Model):
    """What was taken out. The volume holds liquid and never feeds an accumulation rate."""

    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="emptying")
    litres_removed = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(500_000)]
    )
    all_compartments = models.BooleanField(default=True)
    left_behind_litres = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0)])
    refilled_with_water = models.BooleanField(default=False)
    effluent_ran_back = models.BooleanField(
        default=False, help_text="Water ran back from the outlet while emptying."
    )
    tipped_at = models.CharField(max_length=120, blank=True)
    tip_ticket = models.CharField(max_length=60, blank=True)

    history = HistoricalRecords()

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(litres_removed__isnull=True) | models.Q(litres_removed__gte=0),
                name="litres_removed_are_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"Emptying on {self.visit.visited_on}"


class ChamberFinding(models.Model):
    """What lay in a chamber and what was done about it."""

    class Debris(models.TextChoices):
        NONE = "none", "None"
        WIPES = "wipes", "Wipes"
        FAT = "fat", "Fat"
        SANITARY = "sanitary", "Sanitary items"
        SILT = "silt", "Silt"
        ROOTS = "roots", "Roots"
        SCALE = "scale", "Scale"
        TOYS = "toys", "Toys"
        RUBBLE = "rubble", "Rubble"

    class Amount(models.IntegerChoices):
        NONE = 0, "None"
        TRACE = 1, "Trace"
        QUARTER = 2, "A quarter"
        HALF = 3, "Half"
        THREE_QUARTERS = 4, "Three quarters"
        FULL = 5, "Full"

    class Flow(models.TextChoices):
        FREE = "free", "Free"
        SLOW = "slow", "Slow"
        NONE = "none", "None"

    class Action(models.TextChoices):
        LEFT = "left", "Left"
        CLEARED = "cleared", "Cleared by hand tool"
        RODDED = "rodded", "Rodded"
        JETTED = "jetted", "Jetted"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="chamber_findings")
    chamber = models.ForeignKey(Chamber, on_delete=models.PROTECT, related_name="findings")
    debris = models.CharField(max_length=10, choices=Debris, default=Debris.NONE)
    amount = models.PositiveSmallIntegerField(choices=Amount, default=Amount.NONE)
    standing_water_mm = models.PositiveIntegerField(null=True, blank=True)
    flow = models.CharField(max_length=10, choices=Flow, default=Flow.FREE)
    action = models.CharField(max_length=10, choices=Action, default=Action.LEFT)
    notes = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["visit", "chamber", "debris"], name="one_finding_per_debris"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.chamber}: {self.get_debris_display()}"


class FieldFinding(models.Model):
    """How the drainage field looked."""

    class Surface(models.TextChoices):
        DRY = "dry", "Dry"
        DAMP = "damp", "Damp"
        SOFT = "soft", "Soft"
        PONDING = "ponding", "Ponding"
        SEWAGE = "sewage", "Sewage on the surface"

    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="field_finding")
    surface = models.CharField(max_length=10, choices=Surface)
    smell = models.BooleanField(default=False)
    notes = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"Field: {self.get_surface_display()}"


class PlantCheck(models.Model):
    """How a package plant ran."""

    visit = models.OneToOneField(Visit, on_delete=models.CASCADE, related_name="plant_check")
    blower_running = models.BooleanField(null=True, blank=True)
    air_filter_cleaned = models.BooleanField(default=False)
    alarm_works = models.BooleanField(null=True, blank=True)
    effluent_clear = models.BooleanField(null=True, blank=True)
    settled_sludge_ml_per_l = models.PositiveSmallIntegerField(
        null=True, blank=True, verbose_name="SV30, mL/L", validators=[MaxValueValidator(1000)]
    )
    notes = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"Plant check on {self.visit.visited_on}"


class Defect(models.Model):
    """Something wrong that outlasts the visit."""

    class Severity(models.TextChoices):
        NOTE = "note", "Worth noting"
        REPAIR = "repair", "Needs repair"
        DANGER = "danger", "Dangerous: made safe, act now"

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="defects")
    what = models.CharField(max_length=300)
    severity = models.CharField(max_length=10, choices=Severity)
    mended_on = models.DateField(null=True, blank=True)

    def __str__(self) -> str:
        return self.what
