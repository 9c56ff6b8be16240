"""Many rows at once, each with the line of history that a single save would have left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from django.db import models
from simple_history.utils import bulk_create_with_history

if TYPE_CHECKING:
    from customers.models import User

Row = TypeVar("Row", bound=models.Model)


@dataclass(frozen=True, slots=True)
class Author:
    """Who brings a list in, and what the history says as the reason."""

    user: User | None
    reason: str

    def add(self, model: type[Row], rows: Sequence[Row]) -> list[Row]:
        """Add rows with their history; gives them with their keys."""
        if not rows:
            return []
        added: list[Row] = bulk_create_with_history(
            list(rows),
            model,
            batch_size=500,
            default_user=self.user,
            default_change_reason=self.reason,
        )
        return added

    def save(self, row: models.Model, fields: Sequence[str]) -> None:
        """Save the named fields of one row, with its history."""
        row._history_user = self.user  # type: ignore[attr-defined]  # noqa: SLF001 (its documented name)
        row._change_reason = self.reason  # type: ignore[attr-defined]  # noqa: SLF001 (its documented name)
        row.save(update_fields=[*fields, *_stamps(row)])


def _stamps(row: models.Model) -> list[str]:
    return ["changed_at"] if any(f.name == "changed_at" for f in row._meta.fields) else []  # noqa: SLF001
