"""Bases, works, tankers and the people who drive them."""

from __future__ import annotations

import calendar
import datetime as dt
from typing import ClassVar

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from customers.models import OwnedModel, OwnedQuerySet
from customers.models.premises import LATITUDE, LONGITUDE


class Base(OwnedModel):
    """Where tankers stand overnight."""

    changed_by = "plan"

    name = models.CharField(max_length=80)
    latitude = models.FloatField(validators=LATITUDE)
    longitude = models.FloatField(validators=LONGITUDE)

    objects = OwnedQuerySet["Base"].as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="base_names_differ"),
        ]

    def __str__(self) -> str:
        return self.name


class Works(OwnedModel):
    """A treatment works where loads are tipped."""

    changed_by = "plan"

    name = models.CharField(max_length=80)
    latitude = models.FloatField(validators=LATITUDE)
    longitude = models.FloatField(validators=LONGITUDE)
    opens = models.TimeField(default=dt.time(7, 0))
    closes = models.TimeField(default=dt.time(17, 0))
    tipping_minutes = models.PositiveSmallIntegerField(default=25)
    charge_pence_per_visit = models.PositiveIntegerField(default=0)
    charge_pence_per_m3 = models.PositiveIntegerField(default=0)
    accepts = models.JSONField(
        default=list, blank=True, help_text="Kinds of system whose sludge it takes; empty: all."
    )
    permit_number = models.CharField(max_length=60, blank=True)
    weekday_hours = models.JSONField(
        default=dict,
        blank=True,
        help_text="Hours of weekdays that differ: 0 (Monday) to 6, opening and closing, or null.",
    )
    in_use = models.BooleanField(default=True)

    objects = OwnedQuerySet["Works"].as_manager()

    class Meta:
        verbose_name_plural = "works"
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="works_names_differ"),
            models.CheckConstraint(
                condition=models.Q(closes__gt=models.F("opens")), name="works_close_after_opening"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def hours_on(self, day: dt.date) -> tuple[dt.time, dt.time] | None:
        """Opening and closing time on the weekday of `day`; None where it stays shut."""
        weekday = str(day.weekday())
        if weekday not in self.weekday_hours:
            return self.opens, self.closes
        given = self.weekday_hours[weekday]
        return given and (dt.time.fromisoformat(given[0]), dt.time.fromisoformat(given[1]))

    @property
    def other_hours(self) -> list[str]:
        """Weekdays that differ, in words, from Monday on."""
        return [
            f"{calendar.day_abbr[int(weekday)]} {' to '.join(hours) if hours else 'shut'}"
            for weekday, hours in sorted(self.weekday_hours.items())
        ]

    def hours_words(self, day: dt.date) -> str:
        """When it is open on a day, as a driver reads it."""
        hours = self.hours_on(day)
        if hours is None or day in {closure.day for closure in self.closures.all()}:
            return "Shut on this day"
        return f"Open {hours[0]:%H:%M} to {hours[1]:%H:%M}"


class WorksClosure(models.Model):
    """A day on which a works takes nothing."""

    works = models.ForeignKey(Works, on_delete=models.CASCADE, related_name="closures")
    day = models.DateField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["works", "day"], name="one_closure_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.works} closed on {self.day}"


class WorksWasteCode(models.Model):
    """The code under which a works takes one kind of waste, from a day on.

    It goes before that of the country's list, where the permit of the works says otherwise.
    """

    works = models.ForeignKey(Works, on_delete=models.CASCADE, related_name="waste_codes")
    system_kind = models.CharField(max_length=20)
    code = models.CharField(max_length=10, help_text="Of the List of Wastes, as 20 03 04.")
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["system_kind", "valid_from"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["works", "system_kind", "valid_from"],
                name="one_waste_code_from_a_day_at_a_works",
            ),
            models.CheckConstraint(
                condition=models.Q(valid_to__isnull=True)
                | models.Q(valid_to__gte=models.F("valid_from")),
                name="waste_code_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} at {self.works}"


class Crew(OwnedModel):
    """Who goes out: a tanker driver or a service engineer, with or without a mate."""

    changed_by = "plan"

    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="crews",
    )
    stick_notch_mm = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(5), MaxValueValidator(500)],
        help_text="Notches of this crew's own dip stick, where it differs from the usual one.",
    )
    in_use = models.BooleanField(default=True)

    objects = OwnedQuerySet["Crew"].as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="crew_names_differ"),
        ]

    def __str__(self) -> str:
        return self.name


class Tanker(OwnedModel):
    """A vehicle that empties tanks, with what limits its day."""

    class HoursRegime(models.TextChoices):
        ASSIMILATED = "assimilated", "Assimilated rules (9 h driving, 45 min after 4 h 30)"
        DOMESTIC = "domestic", "GB domestic rules (10 h driving, 11 h duty)"

    changed_by = "plan"

    name = models.CharField(max_length=60)
    vehicle_registration = models.CharField(max_length=20, blank=True)
    base = models.ForeignKey(Base, on_delete=models.PROTECT, related_name="tankers")
    crew = models.ForeignKey(
        Crew, null=True, blank=True, on_delete=models.SET_NULL, related_name="tankers"
    )
    capacity_litres = models.PositiveIntegerField(validators=[MinValueValidator(100)])
    shift_starts = models.TimeField(default=dt.time(7, 0))
    shift_ends = models.TimeField(default=dt.time(16, 30))
    hours_regime = models.CharField(
        max_length=16, choices=HoursRegime, default=HoursRegime.ASSIMILATED
    )
    max_duty_minutes = models.PositiveSmallIntegerField(default=570)
    max_week_minutes = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Most work from Monday to Sunday; empty: what the law has."
    )
    overtime_minutes = models.PositiveSmallIntegerField(default=0)
    overtime_pence_per_hour = models.PositiveIntegerField(default=0)
    break_minutes = models.PositiveSmallIntegerField(default=45)
    break_from = models.TimeField(default=dt.time(11, 0))
    break_until = models.TimeField(default=dt.time(14, 0))
    pence_per_km = models.PositiveIntegerField(default=85)
    pence_per_hour = models.PositiveIntegerField(default=2600)
    fixed_pence_per_day = models.PositiveIntegerField(default=9000)
    width_m = models.FloatField(default=2.5, validators=[MinValueValidator(0.5)])
    height_m = models.FloatField(default=3.4, validators=[MinValueValidator(0.5)])
    gross_tonnes = models.FloatField(default=18, validators=[MinValueValidator(0.5)])
    hose_m = models.FloatField(default=40, validators=[MinValueValidator(0)])
    may_end_loaded = models.BooleanField(default=False)
    in_use = models.BooleanField(default=True)

    objects = OwnedQuerySet["Tanker"].as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="tanker_names_differ"),
            models.CheckConstraint(
                condition=models.Q(capacity_litres__gt=0), name="tanker_holds_something"
            ),
            models.CheckConstraint(
                condition=models.Q(shift_ends__gt=models.F("shift_starts")),
                name="shift_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class TankerDayOff(models.Model):
    """A day on which a tanker does not go out."""

    tanker = models.ForeignKey(Tanker, on_delete=models.CASCADE, related_name="days_off")
    day = models.DateField()
    reason = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["tanker", "day"], name="one_day_off_a_day"),
        ]

    def __str__(self) -> str:
        return f"{self.tanker} off on {self.day}"
