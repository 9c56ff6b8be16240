"""Agreements sold on aftercare plans, and what happened to each."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar, NoReturn, Self

from django.conf import settings
from django.db import models
from simple_history.models import HistoricalRecords

from .owned import OwnedModel, OwnedQuerySet
from .people import Person
from .plans import AftercarePlan
from .premises import Premises


class AgreementQuerySet(OwnedQuerySet["Agreement"]):
    """Questions about agreements."""

    def current(self, on: dt.date) -> Self:
        """Agreed, started by `on` and not ended before it: neither run out nor ended early."""
        return self.standing().filter(
            models.Q(ended_on__isnull=True) | models.Q(ended_on__gt=on),
            starts_on__lte=on,
            ends_on__gte=on,
        )

    def standing(self) -> Self:
        """Agreed by both sides, whatever its dates, and not cancelled since."""
        return self.filter(state=Agreement.State.AGREED)

    def covering(self, day: dt.date) -> Self:
        """Held on `day`, even where it was cancelled or ended later."""
        return self.filter(
            models.Q(ended_on__isnull=True) | models.Q(ended_on__gt=day),
            state__in=[Agreement.State.AGREED, Agreement.State.CANCELLED],
            starts_on__lte=day,
            ends_on__gte=day,
        )

    def to_sign(self) -> Self:
        """Drawn up or offered, and not yet answered."""
        return self.filter(state__in=[Agreement.State.DRAFT, Agreement.State.OFFERED])

    def cancellable(self, on: dt.date) -> Self:
        """Agreed, and within the days in which a consumer may cancel without a reason."""
        return self.standing().filter(cancel_by__gte=on, ended_on__isnull=True)

    def held(self) -> Self:
        """Renewal stopped until the office has looked at it."""
        return self.standing().filter(held_at__isnull=False, ended_on__isnull=True)

    def renewing(self) -> Self:
        """Renew themselves, and have neither ended nor been followed by the next term."""
        return self.standing().filter(
            renews_itself=True, ended_on__isnull=True, followed_by__isnull=True
        )


class Agreement(OwnedModel):
    """Aftercare sold for one place over one term."""

    class State(models.TextChoices):
        DRAFT = "draft", "Being drawn up"
        OFFERED = "offered", "Offered"
        AGREED = "agreed", "Agreed"
        DECLINED = "declined", "Not wanted"
        CANCELLED = "cancelled", "Cancelled in time"

    class CustomerIs(models.TextChoices):
        CONSUMER = "consumer", "A consumer"
        BUSINESS = "business", "A business or body"

    class SoldHow(models.TextChoices):
        DISTANCE = "distance", "At a distance (mail, telephone, this site)"
        OFF_PREMISES = "off_premises", "Face to face, away from our premises"
        ON_PREMISES = "on_premises", "On our premises"

    class Followed(models.TextChoices):
        RENEWAL = "renewal", "Renewal"
        SALE = "sale", "Goes with the house"

    class RefundBasis(models.TextChoices):
        DAYS = "days", "By days: what is left of the term is given back"
        DONE = "done", "By what was done: only visits made are paid for"
        ALL = "all", "All is given back"
        NONE = "none", "Nothing is given back"

    premises = models.ForeignKey(Premises, on_delete=models.PROTECT, related_name="agreements")
    plan = models.ForeignKey(AftercarePlan, on_delete=models.PROTECT, related_name="agreements")
    payer = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL)
    state = models.CharField(max_length=10, choices=State, default=State.AGREED)
    customer_is = models.CharField(max_length=10, choices=CustomerIs, blank=True)
    sold_how = models.CharField(max_length=12, choices=SoldHow, blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField()
    price_pence = models.PositiveIntegerField(help_text="A year, in pence, before VAT.")
    charged_every_months = models.PositiveSmallIntegerField(
        choices=AftercarePlan.ChargedEvery, default=AftercarePlan.ChargedEvery.YEAR
    )
    renews_itself = models.BooleanField(default=False)
    offered_at = models.DateTimeField(null=True, blank=True)
    offered_until = models.DateField(null=True, blank=True)
    offered_text = models.TextField(
        blank=True, help_text="What the customer is shown, word for word."
    )
    agreed_at = models.DateTimeField(null=True, blank=True)
    agreed_name = models.CharField(max_length=160, blank=True)
    early_start = models.BooleanField(
        default=False, help_text="The customer asked us to begin before the right to cancel ends."
    )
    information_given_on = models.DateField(
        null=True, blank=True, help_text="When the customer was told of the right to cancel."
    )
    cancel_by = models.DateField(null=True, blank=True, help_text="Last day to cancel.")
    cancelled_at = models.DateTimeField(null=True, blank=True)
    next_price_pence = models.PositiveIntegerField(
        null=True, blank=True, help_text="A year, from the next term; empty: as now."
    )
    next_price_reason = models.CharField(max_length=200, blank=True)
    held_at = models.DateTimeField(null=True, blank=True)
    held_because = models.CharField(max_length=300, blank=True)
    follows = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="followed_by"
    )
    followed_how = models.CharField(max_length=10, choices=Followed, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    ended_reason = models.CharField(max_length=200, blank=True)
    refund_basis = models.CharField(
        max_length=10, choices=RefundBasis, default=RefundBasis.DAYS, blank=True
    )

    objects = AgreementQuerySet.as_manager()
    history = HistoricalRecords(excluded_fields=["offered_text"])

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(ends_on__gte=models.F("starts_on")),
                name="agreement_ends_after_it_starts",
            ),
            models.CheckConstraint(
                condition=models.Q(next_price_pence__isnull=True) | ~models.Q(next_price_reason=""),
                name="a_new_price_says_why",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="offered") | ~models.Q(offered_text=""),
                name="an_offer_keeps_its_words",
            ),
            models.CheckConstraint(
                condition=~models.Q(state="cancelled") | models.Q(cancelled_at__isnull=False),
                name="a_cancelled_agreement_says_when",
            ),
            models.CheckConstraint(
                condition=models.Q(charged_every_months__in=[1, 3, 6, 12]),
                name="agreement_is_charged_in_parts_of_a_year",
            ),
        ]
        indexes: ClassVar = [
            models.Index(fields=["premises", "ends_on"]),
            models.Index(fields=["organisation", "ends_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.plan} for {self.premises}"

    @property
    def is_consumers(self) -> bool:
        """Whether consumer law is applied: also where nobody said who the customer is."""
        return self.customer_is != self.CustomerIs.BUSINESS

    @property
    def is_open_offer(self) -> bool:
        """Drawn up or offered: may still be changed."""
        return self.state in {self.State.DRAFT, self.State.OFFERED}

    @property
    def last_day(self) -> dt.date:
        """The last day it covers; the day before the first where it was cancelled before."""
        if self.ended_on is None:
            return self.ends_on
        return min(self.ends_on, self.ended_on - dt.timedelta(days=1))

    @property
    def price_of_next_term(self) -> int:
        """Pence a year from the next term on."""
        return self.price_pence if self.next_price_pence is None else self.next_price_pence


class AgreementEvent(models.Model):
    """One thing that happened to an agreement, kept as evidence: never changed, never removed."""

    class Kind(models.TextChoices):
        DRAWN_UP = "drawn_up", "Drawn up"
        OFFERED = "offered", "Offered"
        TAKEN_BACK = "taken_back", "Offer taken back"
        AGREED = "agreed", "Agreed"
        DECLINED = "declined", "Not wanted"
        CANCELLED = "cancelled", "Cancelled"
        PRICE = "price", "New price set for the next term"
        NOTICE = "notice", "Renewal notice given"
        HELD = "held", "Renewal held"
        RELEASED = "released", "Hold lifted"
        RENEWED = "renewed", "Renewed"
        ENDED = "ended", "Ended"
        CHANGED = "changed", "Changed"

    agreement = models.ForeignKey(Agreement, on_delete=models.PROTECT, related_name="events")
    happened_at = models.DateTimeField()
    kind = models.CharField(max_length=12, choices=Kind)
    words = models.TextField(blank=True)
    facts = models.JSONField(default=dict)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    person = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    key = models.CharField(
        max_length=120, null=True, blank=True, unique=True, help_text="So that it is kept once."
    )

    class Meta:
        ordering: ClassVar = ["happened_at", "pk"]
        indexes: ClassVar = [models.Index(fields=["agreement", "kind"])]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.happened_at:%Y-%m-%d}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Keep it once; evidence is not changed."""
        if not self._state.adding:
            message = "What happened to an agreement stays as it was written down."
            raise TypeError(message)
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: evidence is not removed."""
        message = "What happened to an agreement stays as it was written down."
        raise TypeError(message)
