"""Turning the pages of long lists in the same time on every page.

A page starts after a row, not after a count of rows: the database finds the place in an index
instead of walking past everything before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from django.core.exceptions import ValidationError
from django.db.models import Model, Q

if TYPE_CHECKING:
    from collections.abc import Mapping

    from django.db.models import QuerySet

Row = TypeVar("Row", bound=Model)

PAGE_SIZE = 50
SPLIT = "~"


@dataclass(frozen=True)
class Stretch(Generic[Row]):
    """Rows of one page, and what to ask for to turn back or on ("" where there is no page)."""

    rows: list[Row]
    before: str = ""
    after: str = ""


def stretch_of(
    rows: QuerySet[Row], *, by: str, asked: Mapping[str, str], size: int = PAGE_SIZE
) -> Stretch[Row]:
    """Page of `rows` in the order of the field `by`, which may not be null, then of the key.

    `asked` may hold `after` or `before`: the place, as an earlier page gave it.
    """
    ahead, back = asked.get("after", ""), asked.get("before", "")
    if back:
        found = list(beyond(rows, by, back, "lt").order_by(f"-{by}", "-pk")[: size + 1])
        more, shown = len(found) > size, found[size - 1 :: -1] if len(found) > size else found[::-1]
        return Stretch(shown, place(shown, 0, by) if more else "", place(shown, -1, by))
    if ahead:
        rows = beyond(rows, by, ahead, "gt")
    found = list(rows.order_by(by, "pk")[: size + 1])
    shown = found[:size]
    return Stretch(
        shown, place(shown, 0, by) if ahead else "", place(shown, -1, by) if found[size:] else ""
    )


def beyond(rows: QuerySet[Row], by: str, at: str, side: str) -> QuerySet[Row]:
    """Rows on one side ("gt" or "lt") of a place; all of them when the place is garbled."""
    value, split, key = at.rpartition(SPLIT)
    if not split or not key.isdecimal():
        return rows
    try:
        return rows.filter(
            Q(**{f"{by}__{side}": value}) | Q(**{by: value, f"pk__{side}": int(key)})
        )
    except (ValidationError, ValueError):
        return rows


def place(shown: list[Row], index: int, by: str) -> str:
    """Where a row stands in the order."""
    if not shown:
        return ""
    value: Any = shown[index]
    for name in by.split("__"):
        value = getattr(value, name)
    return f"{value}{SPLIT}{shown[index].pk}"


def count_to(rows: QuerySet[Row], limit: int = 10_000) -> tuple[int, bool]:
    """How many rows, counting no further than `limit`; and whether there are more."""
    found = rows.order_by()[: limit + 1].count()
    return min(found, limit), found > limit
