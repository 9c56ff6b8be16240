"""What is on record of many systems, read in bulk as plain rows: models cost ten times as much."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from django.db.models import F

from servicing.models import (
    Chamber,
    ChamberFinding,
    Dip,
    Emptying,
    Occupancy,
    System,
    Tank,
)

LOOKED_INTO = (Chamber.Kind.INSPECTION, Chamber.Kind.EFFLUENT_FILTER)


class SystemRow(NamedTuple):
    """What a forecast asks of a system; names are those of the model."""

    pk: int
    organisation_id: int
    premises_id: int
    reference: str
    kind: str
    installed_on: dt.date | None
    bedrooms: int | None
    design_population: int | None
    maker_interval_months: int | None
    service_interval_months: int | None
    last_emptied_on: dt.date | None
    last_serviced_on: dt.date | None
    ceiling_override_months: int | None
    ceiling_override_reason: str
    created_at: dt.datetime

    @property
    def holds_sludge(self) -> bool:
        """Whether it is ever emptied by tanker."""
        return self.kind in System.HOLDS_SLUDGE


class TankRow(NamedTuple):
    """One compartment, in flow order."""

    pk: int
    shape: str
    working_volume_litres: float | None
    length_mm: int | None
    width_mm: int | None
    diameter_mm: int | None
    outlet_height_mm: int | None
    strapping_table: list[list[float]] | None


class OccupancyRow(NamedTuple):
    """Who used it from a day on."""

    since: dt.date | None
    use: str
    persons: float | None
    weeks_per_year: float
    season_starts_month: int | None
    season_ends_month: int | None
    guest_nights: int
    kitchen_grinder: bool


class EmptyingRow(NamedTuple):
    """An emptying of a counting visit."""

    on: dt.date
    litres_removed: float | None
    left_behind_litres: float | None
    all_compartments: bool


class DipRow(NamedTuple):
    """A dip of a counting visit."""

    on: dt.date
    tank_id: int
    sludge_mm: int | None
    scum_mm: int | None
    litres: float | None
    method: str
    after_removal: bool


class ChamberRow(NamedTuple):
    """A chamber or filter that is looked into."""

    pk: int
    label: str
    kind: str
    last_inspected_on: dt.date | None


class LookRow(NamedTuple):
    """One finding in a chamber on a counting visit."""

    chamber_id: int
    on: dt.date
    amount: int
    flow: str
    debris: str


@dataclass(slots=True)
class OnRecord:
    """Everything on record of one system that bears on its dates."""

    system: SystemRow
    tanks: list[TankRow] = field(default_factory=list)
    occupancies: list[OccupancyRow] = field(default_factory=list)
    emptyings: list[EmptyingRow] = field(default_factory=list)
    dips: list[DipRow] = field(default_factory=list)
    chambers: list[ChamberRow] = field(default_factory=list)
    looks: list[LookRow] = field(default_factory=list)

    def as_text(self) -> str:
        """All of it as one text, the same for the same record."""
        parts = (
            self.system, self.tanks, self.occupancies, self.emptyings, self.dips, self.chambers,
            self.looks,
        )  # fmt: skip
        return repr([[tuple(row) for row in part] if isinstance(part, list) else tuple(part)
                     for part in parts])  # fmt: skip


def read_systems(ids: Sequence[int]) -> dict[int, OnRecord]:
    """Record of each of these systems by its id, in order of id: seven questions for any number."""
    rows = System.objects.filter(pk__in=ids).order_by("pk").values_list(*SystemRow._fields)
    found = {row[0]: OnRecord(SystemRow(*row)) for row in rows}
    _share_out(found, "tanks", _parts(Tank, TankRow, ids).order_by("position", "pk"), TankRow)
    spells = _parts(Occupancy, OccupancyRow, ids).order_by(F("since").asc(nulls_first=True), "pk")
    _share_out(found, "occupancies", spells, OccupancyRow)
    chambers = _parts(Chamber, ChamberRow, ids).filter(kind__in=LOOKED_INTO)
    _share_out(found, "chambers", chambers.order_by("label", "pk"), ChamberRow)
    _share_out(found, "emptyings", _of_visits(Emptying, EmptyingRow, ids), EmptyingRow)
    _share_out(found, "dips", _of_visits(Dip, DipRow, ids), DipRow)
    _share_out(found, "looks", _of_visits(ChamberFinding, LookRow, ids), LookRow)
    return found


def _parts(model: Any, kind: Any, ids: Sequence[int]) -> Any:
    """Parts of these systems, each behind the id of its system."""
    return model.objects.filter(system__in=ids).values_list("system_id", *kind._fields)


def _of_visits(model: Any, kind: Any, ids: Sequence[int]) -> Any:
    """What visits that count found at these systems, oldest first; `on` is the visit's day."""
    fields = ["visit__visited_on" if name == "on" else name for name in kind._fields]
    rows = model.objects.filter(
        visit__system__in=ids, visit__abandoned_because="", visit__replaced_by__isnull=True
    )
    return rows.order_by("visit__visited_on", "pk").values_list("visit__system_id", *fields)


def _share_out(found: dict[int, OnRecord], part: str, rows: Any, kind: Any) -> None:
    """Put each row, the system's id first, where it belongs."""
    make = kind._make
    for row in rows:
        getattr(found[row[0]], part).append(make(row[1:]))
