"""What is on record of many systems, read in bulk as plain rows: models cost ten times as much."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

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
    kitchen_grinder: bool


class EmptyingRow(NamedTuple):
    """An emptying of a counting visit."""

    on: dt.date
    litres_removed: float | None
    left_behind_litres: float | None


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
    counting = {"visit__abandoned_because": "", "visit__replaced_by__isnull": True}
    tanks = Tank.objects.filter(system__in=ids).order_by("position", "pk")
    _share_out(found, "tanks", tanks.values_list("system_id", *TankRow._fields), TankRow)
    spells = Occupancy.objects.filter(system__in=ids).order_by("since", "pk")
    _share_out(
        found, "occupancies", spells.values_list("system_id", *OccupancyRow._fields), OccupancyRow
    )
    emptyings = Emptying.objects.filter(visit__system__in=ids, **counting)
    _share_out(
        found,
        "emptyings",
        emptyings.order_by("visit__visited_on", "pk").values_list(
            "visit__system_id", "visit__visited_on", *EmptyingRow._fields[1:]
        ),
        EmptyingRow,
    )
    dips = Dip.objects.filter(visit__system__in=ids, **counting)
    _share_out(
        found,
        "dips",
        dips.order_by("visit__visited_on", "pk").values_list(
            "visit__system_id", "visit__visited_on", *DipRow._fields[1:]
        ),
        DipRow,
    )
    chambers = Chamber.objects.filter(system__in=ids, kind__in=LOOKED_INTO).order_by("label", "pk")
    _share_out(
        found, "chambers", chambers.values_list("system_id", *ChamberRow._fields), ChamberRow
    )
    looks = ChamberFinding.objects.filter(visit__system__in=ids, **counting)
    _share_out(
        found,
        "looks",
        looks.order_by("visit__visited_on", "pk").values_list(
            "visit__system_id", "chamber_id", "visit__visited_on", *LookRow._fields[2:]
        ),
        LookRow,
    )
    return found


def _share_out(found: dict[int, OnRecord], part: str, rows: Any, kind: Any) -> None:
    """Put each row, the system's id first, where it belongs."""
    make = kind._make
    for row in rows:
        getattr(found[row[0]], part).append(make(row[1:]))
