"""Who uses a system, from which day on."""

from __future__ import annotations

from calendar import month_name
from typing import ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from simple_history.models import HistoricalRecords

from .systems import System


class Occupancy(models.Model):
    """Who used a system from a day on, until the next such row."""

    class Use(models.TextChoices):
        RESIDENCE = "residence", "House"
        HOLIDAY_LET = "holiday_let", "Holiday let"
        HOTEL = "hotel", "Hotel or guest house (beds)"
        OFFICE = "office", "Office (people)"
        SCHOOL = "school", "School (people)"
        FACTORY = "factory", "Works without process waste (people)"
        BAR = "bar", "Bar (customers a day)"
        RESTAURANT = "restaurant", "Kitchen (meals a day)"
        SEATS = "seats", "Hall (seats)"
        PUBLIC_WC = "public_wc", "Public toilets (bowls)"

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="occupancies")
    since = models.DateField(null=True, blank=True, help_text="Empty: as long as we know of.")
    use = models.CharField(max_length=20, choices=Use, default=Use.RESIDENCE)
    persons = models.FloatField(
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(5000)],
        help_text="People, meals, seats or bowls, as the use says; empty when not known.",
    )
    weeks_per_year = models.FloatField(
        default=52, validators=[MinValueValidator(0), MaxValueValidator(53)]
    )
    season_starts_month = models.PositiveSmallIntegerField(null=True, blank=True)
    season_ends_month = models.PositiveSmallIntegerField(null=True, blank=True)
    guest_nights = models.PositiveIntegerField(
        default=0,
        validators=[MaxValueValidator(20_000)],
        help_text="Nights a year, for each guest: four guests for a week are 28.",
    )
    kitchen_grinder = models.BooleanField(default=False)
    told_by = models.CharField(max_length=160, blank=True)
    told_at = models.DateTimeField(null=True, blank=True)

    history = HistoricalRecords()

    class Meta:
        verbose_name_plural = "occupancies"
        ordering: ClassVar = [models.F("since").asc(nulls_first=True)]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["system", "since", "use"], name="one_occupancy_from_a_day"
            ),
            models.CheckConstraint(
                condition=models.Q(season_starts_month=None, season_ends_month=None)
                | models.Q(season_starts_month__range=(1, 12), season_ends_month__range=(1, 12)),
                name="season_has_two_ends",
            ),
            models.CheckConstraint(
                condition=models.Q(weeks_per_year__gte=0, weeks_per_year__lte=53),
                name="weeks_per_year_fit_a_year",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.persons} from {self.since}"

    @property
    def season(self) -> str:
        """First and last month of use, or nothing for the whole year."""
        if self.season_starts_month is None or self.season_ends_month is None:
            return ""
        return f"{month_name[self.season_starts_month]} to {month_name[self.season_ends_month]}"
