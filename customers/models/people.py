"""Owners, occupiers, operators, payers and site contacts."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from simple_history.models import HistoricalRecords

from .owned import OwnedModel, OwnedQuerySet


class Person(OwnedModel):
    """A person or body we may have to tell something."""

    name = models.CharField(max_length=160)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    postal_address = models.TextField(blank=True)
    # Empty: as their organisation writes.
    language = models.CharField(max_length=8, blank=True, default="")
    notes = models.TextField(blank=True)

    objects = OwnedQuerySet["Person"].as_manager()
    history = HistoricalRecords()

    class Meta:
        verbose_name_plural = "people"
        indexes: ClassVar = [models.Index(fields=["organisation", "name"])]

    def __str__(self) -> str:
        return self.name

    @property
    def language_name(self) -> str:
        """What this person reads, named in itself."""
        return dict(settings.LANGUAGES).get(self.language) or self.organisation.language_name

    @property
    def is_erased(self) -> bool:
        """Whether the person's data were erased: the row stays for what refers to it."""
        return self.removals.exists()


class ContactPreference(models.Model):
    """One line of the consent ledger: what a person allowed or refused, when, and how we know."""

    class Channel(models.TextChoices):
        EMAIL = "email", "E-mail"
        SMS = "sms", "Text message"
        POST = "post", "Letter"

    class MessageClass(models.TextChoices):
        SERVICE = "service", "Service"
        MARKETING = "marketing", "Marketing"

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="preferences")
    channel = models.CharField(max_length=10, choices=Channel)
    message_class = models.CharField(max_length=10, choices=MessageClass)
    allowed = models.BooleanField()
    recorded_at = models.DateTimeField()
    how = models.CharField(max_length=200, help_text="Where and how this was said.")

    class Meta:
        indexes: ClassVar = [models.Index(fields=["person", "channel", "message_class"])]
        ordering: ClassVar = ["-recorded_at", "-id"]

    def __str__(self) -> str:
        word = "allows" if self.allowed else "refuses"
        return f"{self.person} {word} {self.message_class} by {self.channel}"


class Suppression(models.Model):
    """An address that must not be written to, kept as a hash so that the address itself can go."""

    organisation = models.ForeignKey("customers.Organisation", on_delete=models.CASCADE)
    address_hash = models.CharField(max_length=64)
    message_class = models.CharField(max_length=10, choices=ContactPreference.MessageClass)
    reason = models.CharField(max_length=200)
    since = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["organisation", "address_hash", "message_class"],
                name="one_suppression_per_address_and_class",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.message_class} suppressed since {self.since:%Y-%m-%d}"
