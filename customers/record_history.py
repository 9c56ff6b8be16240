"""Who changed what on a record, newest first, in words."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.core.exceptions import FieldDoesNotExist
from django.db.models import ForeignKey
from django.utils import timezone
from django.utils.formats import date_format

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import Model

# Nobody was signed in: the site did it by itself, or an owner by their link.
NOBODY = "no one signed in"
UNTOLD = ["changed_at"]
# Never shown, whatever the table: what opens a gate or a safe, and what was drawn by a hand.
SECRET = re.compile("gate_code|key_safe|safe_code|alarm_code|password|token|signature$")
LONGEST = 200
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
    thing: str = ""
    row: Any = None


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
        change = change_of(row, before)
        if change is not None:
            found.append(change)
    return found[::-1]


def change_of(row: Any, before: Any) -> RecordChange | None:
    """What one history row tells against the one before it; None where nothing one can see."""
    fields = field_changes(before, row) if before is not None else []
    if before is not None and row.history_type == "~" and not fields:
        return None
    by = str(row.history_user) if row.history_user else NOBODY
    subject = str(row.instance_type._meta.verbose_name)  # noqa: SLF001 - public in Django
    kind = KINDS[row.history_type]
    if row.history_change_reason:
        kind = f"{kind}: {row.history_change_reason}"
    return RecordChange(row.history_date, by, kind, subject, fields, row=row)


def field_changes(before: Any, after: Any) -> list[FieldChange]:
    """Fields that differ between two history rows, times of writing left out."""
    model = after.instance_type
    return [
        FieldChange(
            label_of(model, one.field),
            said(one.old, model, one.field),
            said(one.new, model, one.field),
        )
        for one in after.diff_against(before, excluded_fields=UNTOLD).changes
    ]


def label_of(model: type[Model], name: str) -> str:
    """Name of a field for people."""
    field_of = field_named(model, name)
    text = str(getattr(field_of, "verbose_name", name)).replace("_", " ")
    return text[:1].upper() + text[1:]


def field_named(model: type[Model], name: str) -> Any:
    """The field, or None for one that is no more."""
    try:
        return model._meta.get_field(name)  # noqa: SLF001 - public in Django
    except FieldDoesNotExist:
        return None


def said(value: Any, model: type[Model] | None = None, name: str = "") -> str:
    """A value as people read it: choices, days and other records in words; nothing is a dash."""
    field_of = field_named(model, name) if model is not None else None
    if value is None or value == "":
        return "–"
    if SECRET.search(name):
        return "not shown"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(field_of, ForeignKey):
        return record_in_words(field_of, value)
    if field_of is not None and field_of.choices:
        return str(dict(field_of.flatchoices).get(value, value))
    return plainly(value)


def plainly(value: Any) -> str:
    """A moment, a day, a number or a text of bearable length."""
    if isinstance(value, dt.datetime):
        return date_format(timezone.localtime(value), "j M Y, H:i")
    if isinstance(value, dt.date):
        return date_format(value, "j M Y")
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, dict | list):
        return "a list, not shown" if value else "–"
    text = str(value)
    return text if len(text) <= LONGEST else f"{text[:LONGEST]} …"


def record_in_words(field_of: ForeignKey[Any, Any], key: Any) -> str:
    """The record a field pointed at, or that it is no more."""
    manager = field_of.related_model._base_manager  # noqa: SLF001 - public in Django
    found = manager.filter(pk=key).first()
    return str(found) if found is not None else "one that is no more"
