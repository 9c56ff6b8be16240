"""The papers of a whole register: searched by number, place, kind, day and whether they stand."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

from django.db.models import Q

from servicing.models import Paper

if TYPE_CHECKING:
    from servicing.models import PaperQuerySet

STATES = {"": "All", "standing": "Standing", "replaced": "Replaced"}
# A number as printed, or the end of one: 2026-00042, or 42.
NUMBER = re.compile(r"(?:(\d{4})-)?0*(\d{1,9})")


def found_papers(rows: PaperQuerySet, asked: Mapping[str, str]) -> PaperQuerySet:
    """Papers that fit the filters of the list; an unknown filter filters nothing."""
    for word in asked.get("words", "").split()[:6]:
        rows = rows.filter(of_word(word))
    if asked.get("kind") in Paper.Kind.values:
        rows = rows.filter(kind=asked["kind"])
    if asked.get("state") in ("standing", "replaced"):
        rows = rows.filter(replaced_by__isnull=asked["state"] == "standing")
    first, last = day_in(asked.get("first", "")), day_in(asked.get("last", ""))
    if first is not None:
        rows = rows.filter(issued_on__gte=first)
    if last is not None:
        rows = rows.filter(issued_on__lte=last)
    return rows


def of_word(word: str) -> Q:
    """A number, or a part of the place's name, address, postcode or the system's reference."""
    found = (
        Q(premises__name__icontains=word)
        | Q(premises__address__icontains=word)
        | Q(premises__town__icontains=word)
        | Q(premises__postcode__icontains=word)
        | Q(system__reference__icontains=word)
    )
    number = NUMBER.fullmatch(word)
    if number is not None:
        numbered = Q(sequence=int(number[2]))
        found |= numbered & Q(year=int(number[1])) if number[1] else numbered
    return found


def day_in(text: str) -> dt.date | None:
    """A day as a date field sends it; None for anything else."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None
