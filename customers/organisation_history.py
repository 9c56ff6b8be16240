"""Who changed what and when in all of an organisation, newest first, page by page."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ObjectDoesNotExist

from customers.models import Organisation
from customers.record_history import RecordChange, change_of
from customers.record_paths import own_models, path_to_organisation

if TYPE_CHECKING:
    from django.db import models

PAGE = 50
# A list brought in at once is written at one moment: so many of a moment are shown together.
MOST_AT_ONCE = 200


@dataclass(frozen=True)
class Asked:
    """Which changes are wanted; empty means all. `by` is the key of a user, or `nobody`."""

    kind: str = ""
    by: str = ""
    since: dt.date | None = None
    until: dt.date | None = None
    before: dt.datetime | None = None


@dataclass(frozen=True)
class Page:
    """Changes of one page, and the moment before which the next begins."""

    changes: list[RecordChange]
    older: dt.datetime | None


def kinds_with_history() -> dict[str, type[models.Model]]:
    """Models whose changes are kept, by the name of the model."""
    found = {
        str(model._meta.model_name): model  # noqa: SLF001 - public in Django
        for model in own_models()
        if hasattr(model, "history") and not hasattr(model, "instance_type")
    }
    return dict(sorted(found.items(), key=lambda one: plural(one[1])))


def plural(model: type[models.Model]) -> str:
    """What many of a kind are called."""
    text = str(model._meta.verbose_name_plural)  # noqa: SLF001
    return text[:1].upper() + text[1:]


def history_page(organisation: Organisation, asked: Asked) -> Page:
    """One page of the history of an organisation."""
    kinds = kinds_with_history()
    chosen = [kinds[asked.kind]] if asked.kind in kinds else list(kinds.values())
    rows = [row for model in chosen for row in newest(model, organisation, asked)]
    rows.sort(key=lambda row: row.history_date, reverse=True)
    shown, older = rows[:PAGE], None
    if len(rows) > PAGE:
        last = shown[-1].history_date
        shown += [row for row in rows[PAGE:MOST_AT_ONCE] if row.history_date == last]
        older = last if len(rows) > len(shown) else None
    return Page(list(told(shown)), older)


def newest(model: type[models.Model], organisation: Organisation, asked: Asked) -> list[Any]:
    """The newest history rows of a model in an organisation, as many as one page may need."""
    path = path_to_organisation(model)
    of = {path: organisation} if path else {"id": organisation.pk}
    rows = model.history.filter(**of)  # type: ignore[attr-defined]
    if asked.by == "nobody":
        rows = rows.filter(history_user=None)
    elif asked.by.isdecimal():
        rows = rows.filter(history_user=int(asked.by))
    if asked.since:
        rows = rows.filter(history_date__date__gte=asked.since)
    if asked.until:
        rows = rows.filter(history_date__date__lte=asked.until)
    if asked.before:
        rows = rows.filter(history_date__lt=asked.before)
    newest_first = rows.select_related("history_user").order_by("-history_date", "-history_id")
    return list(newest_first[:MOST_AT_ONCE])


def told(rows: list[Any]) -> Iterator[RecordChange]:
    """What rows say, with the name of the thing; a row that changed nothing one sees is left out."""
    for row in rows:
        change = change_of(row, row.prev_record)
        if change is not None:
            yield RecordChange(
                change.at,
                change.by,
                change.kind,
                change.subject,
                change.fields,
                thing_of(row),
                row,
            )


def thing_of(row: Any) -> str:
    """What the thing was called then; empty where what it hung on is gone."""
    try:
        return str(row.instance)
    except ObjectDoesNotExist:
        return ""
