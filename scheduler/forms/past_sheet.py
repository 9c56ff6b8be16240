"""A sheet already recorded, as the sheet's own fields: what a correction starts from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from customers.local_days import zone_at
from scheduler.forms.dip_form import dip_start
from servicing.volumes import from_litres

if TYPE_CHECKING:
    import datetime as dt

    from servicing.models import Emptying, Visit

YES_NO = {True: "yes", False: "no", None: ""}


@dataclass(frozen=True)
class SheetStart:
    """What the parts of a sheet begin with; tanks and chambers by their row's id."""

    visit: dict[str, Any] = field(default_factory=dict)
    dips: dict[int, dict[str, Any]] = field(default_factory=dict)
    chambers: dict[int, dict[str, Any]] = field(default_factory=dict)
    defects: tuple[dict[str, Any], ...] = ()
    notch_mm: int | None = None


def start_from(visit: Visit, units: str) -> SheetStart:
    """The sheet as `visit` was recorded, volumes in `units`."""
    dips = {dip.tank_id: dip_start(dip) for dip in visit.dips.all()}
    chambers = {
        one.chamber_id: {
            "flow": one.flow,
            "debris": one.debris,
            "amount": one.amount,
            "standing_water_mm": one.standing_water_mm,
            "action": one.action,
            "remark": one.notes,
        }
        for one in visit.chamber_findings.all()
    }
    defects = tuple({"what": one.what, "severity": one.severity} for one in visit.defects.all())
    told = visit_fields(visit) | removal_fields(getattr(visit, "emptying", None), units)
    return SheetStart(told | field_fields(visit) | plant_fields(visit), dips, chambers, defects)


def visit_fields(visit: Visit) -> dict[str, Any]:
    """What is asked once."""
    zone = zone_at(visit.system.premises)

    def clock(moment: dt.datetime | None) -> dt.time | None:
        return moment.astimezone(zone).time() if moment else None

    return {
        "visited_on": visit.visited_on,
        "arrived": clock(visit.arrived_at),
        "left": clock(visit.left_at),
        "crew_name": visit.crew_name,
        "vehicle_registration": visit.vehicle_registration,
        "ground": visit.ground,
        "cautions_read": visit.cautions_read,
        "lid_back_on": visit.lid_back_on,
        "serviced": visit.serviced,
        "who_was_present": visit.who_was_present,
        "notes": visit.notes,
    }


def removal_fields(emptying: Emptying | None, units: str) -> dict[str, Any]:
    """What was taken out."""
    if emptying is None:
        return {"removed": "none"}

    def said(litres: float | None) -> float | None:
        if litres is None:
            return None
        volume = round(from_litres(litres, units), 1)
        return int(volume) if volume.is_integer() else volume

    return {
        "removed": "all" if emptying.all_compartments else "part",
        "volume_removed": said(emptying.litres_removed),
        "volume_left": said(emptying.left_behind_litres),
        "refilled_with_water": emptying.refilled_with_water,
        "effluent_ran_back": emptying.effluent_ran_back,
    }


def field_fields(visit: Visit) -> dict[str, Any]:
    """How the drainage field looked."""
    found = getattr(visit, "field_finding", None)
    if found is None:
        return {}
    return {"surface": found.surface, "smell": found.smell, "field_notes": found.notes}


def plant_fields(visit: Visit) -> dict[str, Any]:
    """How the plant ran."""
    found = getattr(visit, "plant_check", None)
    if found is None:
        return {}
    return {
        "blower_running": YES_NO[found.blower_running],
        "air_filter_cleaned": found.air_filter_cleaned,
        "alarm_works": YES_NO[found.alarm_works],
        "effluent_clear": YES_NO[found.effluent_clear],
        "settled_sludge_ml_per_l": found.settled_sludge_ml_per_l,
        "plant_notes": found.notes,
    }
