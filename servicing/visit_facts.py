"""What a crew says it found and did: the facts a visit is recorded from."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from servicing.models import Chamber, ChamberFinding, Dip, Tank


@dataclass(frozen=True, kw_only=True, slots=True)
class DipFound:
    """Levels read in one tank, in millimetres; `litres` only where the source says so itself.

    `entered` keeps the figures as they were read where they were not depths: the way and each
    figure by its name in servicing.readings.
    """

    tank: Tank
    sludge_mm: int | None = None
    scum_mm: int | None = None
    litres: float | None = None
    liquid_level_mm: int | None = None
    method: str = Dip.Method.CORE_SAMPLER
    after_removal: bool = False
    entered: Mapping[str, Any] = field(default_factory=dict)

    @property
    def says_something(self) -> bool:
        """Whether any reading was taken."""
        readings = (self.sludge_mm, self.scum_mm, self.litres, self.liquid_level_mm)
        return any(reading is not None for reading in readings)


@dataclass(frozen=True, kw_only=True, slots=True)
class RemovalFound:
    """What was taken out, in litres; None where nobody measured it."""

    litres_removed: float | None = None
    all_compartments: bool = True
    left_behind_litres: float | None = None
    refilled_with_water: bool = False
    effluent_ran_back: bool = False
    tipped_at: str = ""
    tip_ticket: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class ChamberFound:
    """What lay in one chamber."""

    chamber: Chamber
    debris: str = ChamberFinding.Debris.NONE
    amount: int = ChamberFinding.Amount.NONE
    standing_water_mm: int | None = None
    flow: str = ChamberFinding.Flow.FREE
    action: str = ChamberFinding.Action.LEFT
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class FieldFound:
    """How the drainage field looked."""

    surface: str
    smell: bool = False
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class PlantFound:
    """How a package plant ran; None where it was not looked at."""

    blower_running: bool | None = None
    air_filter_cleaned: bool = False
    alarm_works: bool | None = None
    effluent_clear: bool | None = None
    settled_sludge_ml_per_l: int | None = None
    notes: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class DefectFound:
    """Something wrong that outlasts the visit."""

    what: str
    severity: str


@dataclass(frozen=True, kw_only=True, slots=True)
class VisitFound:
    """One visit as told by whoever made it.

    `sheet_key` names the sheet: the same key twice is the same visit. `tanker_litres` is what
    the tanker holds, where known. `cover_lifted` is asked of what was abandoned alone. `sure` says that unlikely figures were looked at again.
    """

    visited_on: dt.date
    sheet_key: uuid.UUID = field(default_factory=uuid.uuid4)
    arrived_at: dt.datetime | None = None
    left_at: dt.datetime | None = None
    crew_name: str = ""
    vehicle_registration: str = ""
    carried_out_by_others: bool = False
    ground: str = ""
    who_was_present: str = ""
    abandoned_because: str = ""
    cover_lifted: bool | None = None
    cautions_read: bool = False
    cautions_read_at: dt.datetime | None = None
    no_photo_because: str = ""
    signed_how: str = ""
    signed_by: str = ""
    signature: str = ""
    lid_back_on: bool = False
    serviced: bool = False
    notes: str = ""
    dips: tuple[DipFound, ...] = ()
    removal: RemovalFound | None = None
    chambers: tuple[ChamberFound, ...] = ()
    drainage_field: FieldFound | None = None
    plant: PlantFound | None = None
    defects: tuple[DefectFound, ...] = ()
    tanker_litres: float | None = None
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Refusal:
    """One thing that does not hold: `field` as in `dips[0].sludge_mm`, and why in a sentence."""

    field: str
    text: str
    can_be_confirmed: bool = False


class VisitRefused(ValueError):
    """The visit as told cannot be; the refusals say what to put right or to confirm."""

    def __init__(self, *refusals: Refusal) -> None:
        super().__init__(" ".join(refusal.text for refusal in refusals))
        self.refusals = refusals
