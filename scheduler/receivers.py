"""Keeping calendars true when somebody's address or part in a place changes.

Customers does not know the visits; so it cannot call here, and is listened to instead.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models.signals import post_delete, post_save
from django.dispatch import receiver
from django.utils import timezone

from customers.models import Agreement, Party, Person
from scheduler.aftercare import endings
from scheduler.messages import telling
from scheduler.models import Appointment

if TYPE_CHECKING:
    from scheduler.models.jobs import AppointmentQuerySet


@receiver(post_save, sender=Person, dispatch_uid="scheduler_person_told")
def person_written(
    instance: Person, created: bool, raw: bool, update_fields: Any = None, **kwargs: Any
) -> None:
    """A new address gets the visits of the old one, which are taken out there."""
    silent = update_fields is not None and not {"email", "postal_address"} & set(update_fields)
    if not created and not raw and not silent:
        _tell_anew(_standing().filter(job__system__premises__parties__person=instance))


@receiver(post_save, sender=Party, dispatch_uid="scheduler_party_told")
def party_written(instance: Party, raw: bool, **kwargs: Any) -> None:
    """Who came to a place is invited to the visits there; who left it is told they are off."""
    if not raw:
        _tell_anew(_standing().filter(job__system__premises=instance.premises_id))


@receiver(post_delete, sender=Party, dispatch_uid="scheduler_party_gone_told")
def party_deleted(instance: Party, **kwargs: Any) -> None:
    """A part in a place that was written down by mistake."""
    _tell_anew(_standing().filter(job__system__premises=instance.premises_id))


@receiver(post_save, sender=Agreement, dispatch_uid="scheduler_agreement_followed")
def agreement_written(instance: Agreement, created: bool, raw: bool, **kwargs: Any) -> None:
    """What an agreement that ended promised and charged is brought in step with it."""
    if not created and not raw:
        endings.follow(instance)


def _standing() -> AppointmentQuerySet:
    return (
        Appointment.objects.standing()
        .filter(agreed_at__isnull=False, ends_at__gt=timezone.now())
        .select_related("job__system__premises__organisation", "job__organisation__profile")
    )


@transaction.atomic
def _tell_anew(appointments: AppointmentQuerySet) -> None:
    for appointment in appointments.distinct().order_by("pk"):
        telling.tell_appointment_moved(appointment=appointment, now=timezone.now())
