"""Noting that somebody looked at a system, from outside, as the monthly check asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from servicing.models import OperatorCheck, System

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import Person, User


@transaction.atomic
def note_check(
    *, system: System, checked_on: dt.date, all_well: bool, words: str, person: Person
) -> OperatorCheck:
    """What an owner found on a look round. The same day twice is one look: the last words hold."""
    told = {"all_well": all_well, "words": words[:500], "person": person}
    check, _ = OperatorCheck.objects.update_or_create(
        system=system,
        checked_on=checked_on,
        defaults=told,
        create_defaults={**told, "organisation": system.organisation},
    )
    return check


@transaction.atomic
def remind_of_checks(*, system: System, wanted: bool, by: User | None = None) -> bool:
    """Begin or stop the monthly reminders; `by` is empty where the owner says so by link."""
    if by is not None:
        access.require_change(by, system)
    if system.check_reminders == wanted:
        return False
    system.check_reminders = wanted
    system.save(update_fields=["check_reminders", "changed_at"])
    return True
