"""What a crew's telephone sent: kept as it came, applied once."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Self

from django.conf import settings
from django.db import models

from customers.models import Organisation, OwnedModel, OwnedQuerySet
from servicing.models import Visit

from .jobs import Job
from .rounds import Stop

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from customers.models import User


class DeliveryQuerySet(OwnedQuerySet["Delivery"]):
    """Questions about what crews sent."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Of the user's own crews, and about jobs of the user's organisations."""
        if not user.is_authenticated:
            return self.none()
        mine = user.organisation_ids()
        return self.filter(models.Q(organisation__in=mine) | models.Q(job__organisation__in=mine))

    def concerning(self, organisation: Organisation) -> Self:
        """Sent by this organisation's crews, or about its jobs."""
        return self.filter(
            models.Q(organisation=organisation) | models.Q(job__organisation=organisation)
        )

    def to_settle(self) -> Self:
        """Neither applied nor set aside: somebody at the office has to say which stands."""
        return self.filter(state=Delivery.State.DISPUTED)

    def to_look_at(self) -> Self:
        """To settle, sent back to the crew, or sent by a phone whose clock was wrong."""
        return self.filter(
            models.Q(state__in=(Delivery.State.DISPUTED, Delivery.State.SENT_BACK))
            | models.Q(clock_off_seconds__isnull=False)
        )


class Delivery(OwnedModel):
    """One thing a crew entered on its telephone, with or without signal."""

    changed_by = "plan"

    class Kind(models.TextChoices):
        ARRIVED = "arrived", "Arrival"
        LEFT = "left", "Departure"
        TIPPED = "tipped", "Tip ticket"
        SHEET = "sheet", "Job sheet"
        ABANDONED = "abandoned", "Sheet of a job not done"
        NOTE = "note", "Note to the office"

    class State(models.TextChoices):
        TAKEN = "taken", "Taken in"
        SENT_BACK = "sent_back", "Sent back to the crew"
        DISPUTED = "disputed", "For the office to settle"
        SET_ASIDE = "set_aside", "Set aside, kept to read"

    key = models.UUIDField(unique=True, help_text="Made on the phone: a repeat is the same.")
    kind = models.CharField(max_length=10, choices=Kind)
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.PROTECT, related_name="deliveries"
    )
    stop = models.ForeignKey(
        Stop, null=True, blank=True, on_delete=models.SET_NULL, related_name="deliveries"
    )
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    sheet_key = models.UUIDField(null=True, blank=True, db_index=True)
    made_at = models.DateTimeField(help_text="When it was entered, by the phone put right.")
    clock_off_seconds = models.IntegerField(
        null=True, blank=True, help_text="Phone's clock ahead of ours; empty where it was right."
    )
    contents = models.JSONField(default=dict, help_text="As it came: fields and what was seen.")
    state = models.CharField(max_length=10, choices=State)
    answer = models.JSONField(default=dict, help_text="What the phone was told.")
    why = models.CharField(max_length=300, blank=True, help_text="Why it was not simply taken.")
    visit = models.ForeignKey(
        Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="deliveries"
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    settled_how = models.CharField(max_length=300, blank=True)

    objects = DeliveryQuerySet.as_manager()

    class Meta:
        ordering: ClassVar = ["-created_at", "-id"]
        indexes: ClassVar = [models.Index(fields=["organisation", "state"])]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(state="set_aside") | models.Q(settled_at__isnull=False),
                name="set_aside_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} from {self.sent_by}"

    def changing_organisations(self) -> tuple[Organisation, ...]:
        """The crew's office, and the office whose job it is."""
        if self.job is None or self.job.organisation_id == self.organisation_id:
            return (self.organisation,)
        return (self.organisation, self.job.organisation)
