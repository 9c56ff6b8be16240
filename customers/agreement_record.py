"""Writing down what happened to an agreement, and saying why something cannot happen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from customers.models import Agreement, AgreementEvent

if TYPE_CHECKING:
    from customers.models import Person, User

Kind = AgreementEvent.Kind


class AgreementRefused(ValueError):
    """What was asked cannot be done with this agreement; the words say why and what to do."""


def note(
    agreement: Agreement,
    kind: str,
    *,
    now: dt.datetime,
    words: str = "",
    facts: Mapping[str, Any] | None = None,
    by: User | None = None,
    person: Person | None = None,
    key: str | None = None,
) -> AgreementEvent | None:
    """Keep one thing that happened; None where its key says that it is kept already."""
    if key is not None and AgreementEvent.objects.filter(key=key).exists():
        return None
    return AgreementEvent.objects.create(
        agreement=agreement,
        happened_at=now,
        kind=kind,
        words=words,
        facts=dict(facts or {}),
        by=by,
        person=person,
        key=key,
    )


def locked(agreement: Agreement) -> Agreement:
    """The agreement as it stands now, held so that two presses come one after the other."""
    return (
        Agreement.objects.select_for_update(of=("self",))
        .select_related("organisation__profile", "premises__organisation", "plan", "payer")
        .get(pk=agreement.pk)
    )


def save(agreement: Agreement, **fields: Any) -> None:
    """Write these fields and no other."""
    for name, value in fields.items():
        setattr(agreement, name, value)
    agreement.save(update_fields=[*fields, "changed_at"])
