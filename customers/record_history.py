"""Who changed what on a record, newest first, in words."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.core.exceptions import FieldDoesNotExist

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from django.db.models import Model

KINDS = {"+": "Written down", "~": "Changed", "-": "Removed"}


@dataclass(frozen=True)
class FieldChange:
    """One field before and after."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class RecordChange:
    """One act of writing."""

    at: dt.datetime
    by: str
    kind: str
    subject: str
    fields: list[FieldChange] = field(default_factory=list)


def changes_of(*querysets: Iterable[Any], limit: int = 100) -> list[RecordChange]:
    """Newest changes of records, from their history querysets (each of one model)."""
    found = [change for rows in querysets for change in changes_in(list(rows)[: limit + 1])]
    return sorted(found, key=lambda change: change.at, reverse=True)[:limit]


def changes_in(rows: list[Any]) -> list[RecordChange]:
    """Changes told by history rows of one model, newest first, each against the one before it."""
    earlier: dict[Any, Any] = {}
    found = []
    for row in reversed(rows):
        before = earlier.get(row.id)
        earlier[row.id] = row
        fields = field_changes(before, row) if before is not None else []
        if before is not None and row.history_type == "~" and not fields:
            continue
        by = str(row.history_user) if row.history_user else "the system"
        subject = str(row.instance_type._meta.verbose_name)  # noqa: SLF001 - public in Django
        found.append(RecordChange(row.history_date, by, KINDS[row.history_type], subject, fields))
    return found[::-1]


def field_changes(before: Any, after: Any) -> list[FieldChange]:
    """Fields that differ between two history rows, times of writing left out."""
    return [
        FieldChange(label_of(after.instance_type, one.field), said(one.old), said(one.new))
        for one in after.diff_against(before, excluded_fields=["changed_at"]).changes
    ]


def label_of(model: type[Model], name: str) -> str:
    """Name of a field for people."""
    try:
        field_of = model._meta.get_field(name)  # noqa: SLF001 - public in Django
    except FieldDoesNotExist:
        return name.replace("_", " ")
    text = str(getattr(field_of, "verbose_name", name))
    return text[:1].upper() + text[1:]


def said(value: Any) -> str:
    """A value for people; nothing is a dash."""
    if value is None or value == "":
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
