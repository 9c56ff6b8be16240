"""What an installer sells: plans, their prices over time, and the price list of single pieces."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from .owned import OwnedModel, OwnedQuerySet

if TYPE_CHECKING:
    import datetime as dt


class Service(models.TextChoices):
    """A kind of thing that is charged: the VAT of each is decided by itself."""

    EMPTYING = "emptying", "Emptying"
    SERVICE = "service", "Service visit"
    INSPECTION = "inspection", "Chamber inspection"
    JETTING = "jetting", "Jetting"
    CALL_OUT = "call_out", "Call-out"
    EXTRA_LITRES = "extra_litres", "Litres above the allowance"
    ABORTIVE = "abortive", "Abortive visit"
    TIP = "tip", "Works' charge passed on"
    COVER = "cover", "Aftercare without visits"


# What an agreement can include, a number a year.
INCLUDABLE = (
    Service.EMPTYING,
    Service.SERVICE,
    Service.INSPECTION,
    Service.JETTING,
    Service.CALL_OUT,
)
# Fields of a plan that hold the number a year.
COUNT_FIELDS = {
    Service.EMPTYING: "emptyings_per_year",
    Service.SERVICE: "service_visits_per_year",
    Service.INSPECTION: "inspections_per_year",
    Service.JETTING: "jettings_per_year",
    Service.CALL_OUT: "call_outs_per_year",
}


class AftercarePlan(OwnedModel):
    """What an installer offers: visits a year, what they include, and the price."""

    class ChargedEvery(models.IntegerChoices):
        MONTH = 1, "Every month"
        QUARTER = 3, "Every three months"
        HALF_YEAR = 6, "Every six months"
        YEAR = 12, "Once a year"

    name = models.CharField(max_length=80)
    includes = models.TextField(blank=True)
    price_pence = models.PositiveIntegerField(help_text="A year, in pence, before VAT.")
    charged_every_months = models.PositiveSmallIntegerField(
        choices=ChargedEvery, default=ChargedEvery.YEAR
    )
    emptyings_per_year = models.PositiveSmallIntegerField(default=0)
    service_visits_per_year = models.PositiveSmallIntegerField(default=0)
    inspections_per_year = models.PositiveSmallIntegerField(default=0)
    jettings_per_year = models.PositiveSmallIntegerField(default=0)
    call_outs_per_year = models.PositiveSmallIntegerField(default=0)
    emptying_interval_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Longest time between emptyings that the plan promises."
    )
    emptying_litres_included = models.PositiveIntegerField(
        null=True, blank=True, help_text="Taken out at one emptying without a further charge."
    )
    response_hours = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Within how many hours we come when trouble is reported."
    )
    passes_on_tip_charge = models.BooleanField(default=False)
    renewal_notice_days = models.PositiveSmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(1), MaxValueValidator(120)],
        help_text="First notice so many days before the end; empty: as the country profile says.",
    )
    offered = models.BooleanField(default=True)

    objects = OwnedQuerySet["AftercarePlan"].as_manager()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["organisation", "name"], name="plan_names_differ"),
            models.CheckConstraint(
                condition=models.Q(charged_every_months__in=[1, 3, 6, 12]),
                name="plan_is_charged_in_parts_of_a_year",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def price_on(self, day: dt.date) -> int:
        """Pence a year, before VAT, for an agreement that starts on `day`."""
        row = self.prices.filter(valid_from__lte=day).order_by("-valid_from").first()
        return row.price_pence if row else self.price_pence

    @property
    def included(self) -> dict[Service, int]:
        """What is included, a number a year for each system at the place."""
        counts = {service: getattr(self, COUNT_FIELDS[service]) for service in INCLUDABLE}
        return {service: count for service, count in counts.items() if count}


class PlanPrice(models.Model):
    """What a plan costs from a day on; agreements already made keep theirs."""

    plan = models.ForeignKey(AftercarePlan, on_delete=models.CASCADE, related_name="prices")
    valid_from = models.DateField()
    price_pence = models.PositiveIntegerField(help_text="A year, in pence, before VAT.")
    why = models.CharField(max_length=200)

    class Meta:
        ordering: ClassVar = ["-valid_from"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["plan", "valid_from"], name="one_price_of_a_plan_from_a_day"
            ),
            models.CheckConstraint(condition=~models.Q(why=""), name="a_plan_price_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.plan} from {self.valid_from}"


class ServicePriceQuerySet(OwnedQuerySet["ServicePrice"]):
    """Questions about the price list."""

    def on(self, day: dt.date) -> Self:
        """Rows that have begun by `day`, the latest of each service last."""
        return self.filter(valid_from__lte=day).order_by("valid_from", "pk")


class ServicePrice(OwnedModel):
    """A line of the price list: one piece of work outside an agreement, from a day on."""

    service = models.CharField(max_length=12, choices=Service)
    valid_from = models.DateField()
    price_pence = models.PositiveIntegerField(
        help_text="Before VAT; for litres above the allowance, each 1,000 litres begun."
    )
    litres_included = models.PositiveIntegerField(
        null=True, blank=True, help_text="Of an emptying: more is charged as litres above."
    )

    objects = ServicePriceQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["service", "-valid_from"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "service", "valid_from"],
                name="one_price_of_a_service_from_a_day",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_service_display()} from {self.valid_from}"
