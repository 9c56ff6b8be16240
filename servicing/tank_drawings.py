"""What a telephone needs to draw one tank while figures are typed, as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from servicing import volumes
from servicing.forecasts import depth_table
from servicing.models import Dip, System

if TYPE_CHECKING:
    from servicing.models import Tank


def drawing_of(tank: Tank, units: str) -> dict[str, Any]:
    """Shape, heights, litres against depth, and what was found last; JSON can hold it."""
    last = last_dip(tank)
    return {
        "shape": tank.shape,
        "sealed": tank.system.kind == System.Kind.CESSPOOL,
        "outlet": tank.outlet_height_mm,
        "dipPipe": tank.outlet_dip_pipe_mm,
        "cover": tank.cover_above_floor_mm,
        "inside": tank.diameter_mm if tank.shape in ("horizontal_cylinder", "sphere") else None,
        "table": depth_table(tank),
        "perUnit": volumes.LITRES_PER_UNIT[units],
        "sign": volumes.UNIT_SIGNS[units],
        "last": None
        if last is None
        else {
            "on": f"{last.visit.visited_on:%d %B %Y}".lstrip("0"),
            "sludge": last.sludge_mm,
            "scum": last.scum_mm,
        },
    }


def last_dip(tank: Tank) -> Dip | None:
    """The newest depth on record for a tank, before anything was taken out."""
    rows = Dip.objects.filter(tank=tank, after_removal=False, sludge_mm__isnull=False)
    counted = rows.filter(visit__abandoned_because="", visit__replaced_by__isnull=True)
    return counted.select_related("visit").order_by("-visit__visited_on", "-pk").first()
