"""What customers are charged: lines with their VAT, what was included, and what was exported."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from django.conf import settings
from django.db import models
from simple_history.models import HistoricalRecords

from customers.models import (
    Agreement,
    OwnedModel,
    OwnedQuerySet,
    Person,
    Premises,
    ProfileRule,
    Service,
)
from servicing.models import Visit

from .jobs import Job

if TYPE_CHECKING:
    import datetime as dt


class ChargeBatch(OwnedModel):
    """Charges handed to the bookkeeping together: a number, and the file as it was given out."""

    number = models.PositiveIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    lines = models.PositiveIntegerField()
    net_pence = models.BigIntegerField()
    vat_pence = models.BigIntegerField()
    content = models.TextField()
    sha256 = models.CharField(max_length=64)

    objects = OwnedQuerySet["ChargeBatch"].as_manager()

    class Meta:
        verbose_name_plural = "charge batches"
        ordering: ClassVar = ["-number"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "number"], name="charge_batch_numbers_differ"
            ),
        ]

    def __str__(self) -> str:
        return f"Batch {self.number}"


class ChargeQuerySet(OwnedQuerySet["Charge"]):
    """Questions about charges."""

    def owed(self) -> Self:
        """Neither handed to the bookkeeping nor void."""
        return self.filter(state=Charge.State.OWED)

    def that_count(self) -> Self:
        """Owed or exported."""
        return self.exclude(state=Charge.State.VOID)

    def due(self, today: dt.date) -> Self:
        """Owed, and dated today or before: what a batch takes."""
        return self.owed().filter(charged_on__lte=today)


class Charge(OwnedModel):
    """One line: so many pence before VAT, its VAT and the rule that decided it. Minus: a refund."""

    class State(models.TextChoices):
        OWED = "owed", "Owed"
        EXPORTED = "exported", "Handed to bookkeeping"
        VOID = "void", "Void"

    premises = models.ForeignKey(Premises, on_delete=models.PROTECT, related_name="charges")
    payer = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="charges"
    )
    agreement = models.ForeignKey(
        Agreement, null=True, blank=True, on_delete=models.PROTECT, related_name="charges"
    )
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.PROTECT, related_name="charges"
    )
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="charges"
    )
    key = models.CharField(max_length=160, help_text="What it is for: the same is charged once.")
    service = models.CharField(max_length=12, choices=Service)
    words = models.CharField(max_length=300)
    covers_from = models.DateField(null=True, blank=True)
    covers_to = models.DateField(null=True, blank=True)
    charged_on = models.DateField()
    net_pence = models.IntegerField(help_text="Before VAT; a refund has a minus.")
    vat_percent = models.DecimalField(max_digits=5, decimal_places=2)
    vat_pence = models.IntegerField()
    vat_standing = models.CharField(max_length=10, choices=ProfileRule.Standing)
    vat_source = models.TextField()
    state = models.CharField(max_length=10, choices=State, default=State.OWED)
    void_because = models.CharField(max_length=200, blank=True)
    batch = models.ForeignKey(
        ChargeBatch, null=True, blank=True, on_delete=models.PROTECT, related_name="charges"
    )

    objects = ChargeQuerySet.as_manager()
    history = HistoricalRecords(excluded_fields=["vat_source"])

    class Meta:
        ordering: ClassVar = ["charged_on", "pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "key"],
                condition=~models.Q(state="void"),
                name="the_same_is_charged_once",
            ),
            models.CheckConstraint(
                condition=(models.Q(state="exported") & models.Q(batch__isnull=False))
                | (~models.Q(state="exported") & models.Q(batch__isnull=True)),
                name="an_exported_charge_has_its_batch",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="void") | ~models.Q(void_because=""),
                name="a_void_charge_says_why",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["organisation", "state", "charged_on"]),
            models.Index(fields=["premises", "charged_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.words} ({self.net_pence / 100:.2f})"

    @property
    def gross_pence(self) -> int:
        """With VAT."""
        return self.net_pence + self.vat_pence

    @property
    def vat_is_to_check(self) -> bool:
        """Whether its VAT rule is not confirmed as law."""
        return self.vat_standing != ProfileRule.Standing.LAW


class Reckoning(models.Model):
    """What became of one kind of work on one visit: included, charged, or neither and why."""

    class Outcome(models.TextChoices):
        INCLUDED = "included", "Included, not charged"
        CHARGED = "charged", "Charged"
        NO_PRICE = "no_price", "No price for it: the office decides"
        FREE = "free", "Not charged"

    organisation = models.ForeignKey(
        "customers.Organisation", on_delete=models.PROTECT, related_name="+"
    )
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="reckonings")
    service = models.CharField(max_length=12, choices=Service)
    outcome = models.CharField(max_length=10, choices=Outcome)
    agreement = models.ForeignKey(
        Agreement, null=True, blank=True, on_delete=models.PROTECT, related_name="reckonings"
    )
    charge = models.OneToOneField(
        Charge, null=True, blank=True, on_delete=models.PROTECT, related_name="reckoning"
    )
    words = models.CharField(max_length=200, blank=True)
    reckoned_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["visit", "service"], name="work_of_a_visit_is_reckoned_once"
            ),
            models.CheckConstraint(
                condition=(models.Q(outcome="charged") & models.Q(charge__isnull=False))
                | (~models.Q(outcome="charged") & models.Q(charge__isnull=True)),
                name="work_is_included_or_charged_never_both",
            ),
            models.CheckConstraint(
                condition=~models.Q(outcome="included") | models.Q(agreement__isnull=False),
                name="included_work_has_its_agreement",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["agreement", "service"])]

    def __str__(self) -> str:
        return f"{self.get_service_display()}: {self.get_outcome_display().lower()}"
