"""Changing the fleet: bases, works, tankers and crews."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.db import transaction

from customers import access
from scheduler.models import Base, Crew, Tanker, TankerDayOff, Works, WorksClosure

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from customers.models import Organisation, User

FleetRow = Base | Works | Tanker | Crew


@transaction.atomic
def save_in_fleet(
    *,
    row: FleetRow,
    organisation: Organisation,
    facts: Mapping[str, Any],
    by: User,
    days: Sequence[dt.date] | None = None,
    codes: Sequence[tuple[str, str, dt.date]] | None = None,
) -> FleetRow:
    """Add a row to the fleet of `organisation`, or change the named facts of one it has.

    `days` are the closures of a works or the days off of a tanker: the whole list, kept as is
    where a day was on it before; None leaves them alone. So with
    `codes`, the kind, code and first day of each waste code a works has of its own.
    """
    access.require(by, "plan", organisation)
    for name, value in facts.items():
        setattr(row, name, value)
    if not row.pk:
        row.organisation = organisation
        row.save()
    elif facts:
        row.save(update_fields=[*facts, "changed_at"])
    if days is not None:
        _keep_days(row, days)
    if codes is not None and isinstance(row, Works):
        _keep_codes(row, codes)
    return row


def _keep_codes(works: Works, codes: Sequence[tuple[str, str, dt.date]]) -> None:
    """Keep these codes and no other."""
    before = {(one.system_kind, one.code, one.valid_from): one for one in works.waste_codes.all()}
    for told, row in before.items():
        if told not in codes:
            row.delete()
    for kind, code, day in codes:
        if (kind, code, day) not in before:
            works.waste_codes.create(system_kind=kind, code=code, valid_from=day)


def _keep_days(row: FleetRow, days: Sequence[dt.date]) -> None:
    if isinstance(row, Works):
        row.closures.exclude(day__in=days).delete()
        WorksClosure.objects.bulk_create(
            [WorksClosure(works=row, day=day) for day in days], ignore_conflicts=True
        )
    elif isinstance(row, Tanker):
        row.days_off.exclude(day__in=days).delete()
        TankerDayOff.objects.bulk_create(
            [TankerDayOff(tanker=row, day=day) for day in days], ignore_conflicts=True
        )
