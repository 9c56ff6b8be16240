"""Keeping the register's search text true when a place or its people change.

Customers does not know servicing; so it cannot call here, and is listened to instead.
"""

from __future__ import annotations

from typing import Any

from django.db.models.signals import post_save
from django.dispatch import receiver

from customers.models import Party, Person, Premises
from servicing.registration import refresh_search_text_at


@receiver(post_save, sender=Premises, dispatch_uid="servicing_premises_search_text")
def premises_written(instance: Premises, created: bool, raw: bool, **kwargs: Any) -> None:
    """A new place has no systems yet; a changed one may be called something else."""
    if not created and not raw:
        refresh_search_text_at(instance)


@receiver(post_save, sender=Party, dispatch_uid="servicing_party_search_text")
def party_written(instance: Party, raw: bool, **kwargs: Any) -> None:
    """Somebody came to a place or left it."""
    if not raw:
        refresh_search_text_at(instance.premises)


@receiver(post_save, sender=Person, dispatch_uid="servicing_person_search_text")
def person_written(instance: Person, created: bool, raw: bool, **kwargs: Any) -> None:
    """A new person is nowhere yet; a changed one may be called something else."""
    if not created and not raw:
        for place in Premises.objects.filter(parties__person=instance).distinct():
            refresh_search_text_at(place)
