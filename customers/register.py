"""Writing down places and people, and what people are to places."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from django.db import transaction
from django.utils import timezone

from customers import access
from customers.models import ContactPreference, Party, Person, Premises

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping

    from customers.models import Organisation, User

Row = TypeVar("Row", Premises, Person)


@transaction.atomic
def add_premises(
    *, organisation: Organisation, by: User, facts: Mapping[str, Any], source: str = ""
) -> Premises:
    """Write down a place; `facts` are fields of Premises, `source` says how its position is known.

    Raises PermissionDenied for who may not change the register.
    """
    access.require(by, "register", organisation)
    return Premises.objects.create(organisation=organisation, location_source=source, **facts)


@transaction.atomic
def change_premises(
    *, premises: Premises, by: User, facts: Mapping[str, Any], source: str | None = None
) -> Premises:
    """Correct a place; only the fields given are written."""
    access.require_change(by, premises)
    moved = {"location_source": source} if source is not None else {}
    return change(premises, {**facts, **moved})


@transaction.atomic
def add_person(*, organisation: Organisation, by: User, facts: Mapping[str, Any]) -> Person:
    """Write down a person."""
    access.require(by, "register", organisation)
    return Person.objects.create(organisation=organisation, **facts)


@transaction.atomic
def change_person(*, person: Person, by: User, facts: Mapping[str, Any]) -> Person:
    """Correct a person; only the fields given are written."""
    access.require_change(by, person)
    return change(person, facts)


@transaction.atomic
def add_party(
    *, premises: Premises, person: Person, role: str, since: dt.date | None, by: User
) -> Party:
    """Say what a person is to a place. Saying it twice changes nothing.

    Raises ValueError when place and person belong to different organisations.
    """
    access.require_change(by, premises)
    if person.organisation_id != premises.organisation_id:
        message = "The person is in another organisation's register."
        raise ValueError(message)
    party, _ = Party.objects.get_or_create(
        premises=premises, person=person, role=role, until=None, defaults={"since": since}
    )
    return party


@transaction.atomic
def end_party(*, party: Party, until: dt.date, by: User) -> Party:
    """Say until when somebody was what they were; the row stays as history."""
    access.require_change(by, party.premises)
    party.until = until
    party.save(update_fields=["until"])
    return party


@transaction.atomic
def record_preference(
    *, person: Person, channel: str, message_class: str, allowed: bool, how: str, by: User
) -> ContactPreference:
    """Add a line to the consent ledger; the newest line of a channel and class holds."""
    access.require_change(by, person)
    return ContactPreference.objects.create(
        person=person,
        channel=channel,
        message_class=message_class,
        allowed=allowed,
        how=how,
        recorded_at=timezone.now(),
    )


def standing_preferences(lines: Iterable[ContactPreference]) -> list[ContactPreference]:
    """The newest line of each channel and class, from lines in any order."""
    newest: dict[tuple[str, str], ContactPreference] = {}
    for line in sorted(lines, key=lambda one: (one.recorded_at, one.pk)):
        newest[(line.channel, line.message_class)] = line
    return [newest[key] for key in sorted(newest)]


def change(row: Row, facts: Mapping[str, Any]) -> Row:
    """Write these fields and no other."""
    for name, value in facts.items():
        setattr(row, name, value)
    if facts:
        row.save(update_fields=[*facts, "changed_at"])
    return row
