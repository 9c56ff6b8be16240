"""What of a reading is odd beside the tank and beside what was found the time before."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from servicing.models import Dip, System, Tank
from servicing.visit_facts import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from servicing.visit_facts import DipFound, VisitFound

# A level read twice differs by about 12 % (the error of the forecast: judgement, no source); a fifth
# less, and never under a hand's breadth, is worth a question. Common practice, no source.
LESS_SHARE, LESS_MM = 0.2, 60
# A tank refills to its outlet within days of an emptying. Common practice, no source.
REFILLING = dt.timedelta(days=14)
BELOW_OUTLET_MM = 50
FLOOR_HIGHER_MM = 100


def odd_readings(system: System, found: VisitFound) -> Iterator[Refusal]:
    """Readings that may be true but want a second look; each can be confirmed."""
    for index, dip in enumerate(found.dips):
        if dip.after_removal or dip.tank.system_id != system.pk:
            continue
        name = f"dips[{index}]"
        yield from below_outlet(system, dip, found.visited_on, name)
        yield from floor_too_high(dip, name)
        yield from less_than_before(dip, found.visited_on, name)


def below_outlet(system: System, dip: DipFound, on: dt.date, name: str) -> Iterator[Refusal]:
    """A tank in use stands at its outlet: lower is a leak, or a tank emptied lately."""
    level = dip.liquid_level_mm
    if level is None or level >= -BELOW_OUTLET_MM or system.kind == System.Kind.CESSPOOL:
        return
    outlet = dip.tank.outlet_height_mm
    if outlet is not None and level < -outlet:
        return
    emptied = system.last_emptied_on
    if emptied is not None and on - REFILLING <= emptied <= on:
        return
    yield Refusal(
        f"{name}.liquid_level_mm",
        f"The liquid stands {-level:,} mm below the outlet and no emptying is on record in the "
        "last two weeks: the tank may leak. Look for cracks and wet ground, note what you see, "
        "then confirm.",
        can_be_confirmed=True,
    )


def floor_too_high(dip: DipFound, name: str) -> Iterator[Refusal]:
    """A stick that stops short of the floor stands on hard sludge."""
    felt, known = dip.entered.get("down_floor"), dip.tank.cover_above_floor_mm
    if felt is not None and known is not None and felt < known - FLOOR_HIGHER_MM:
        yield Refusal(
            f"{name}.down_floor",
            f"The register has the floor {known:,} mm below the cover: at {felt:,.0f} mm the "
            "stick may stand on hard sludge. Push through or leave the floor empty, or confirm.",
            can_be_confirmed=True,
        )


def less_than_before(dip: DipFound, on: dt.date, name: str) -> Iterator[Refusal]:
    """Sludge does not grow less by itself."""
    before = last_sludge(dip.tank, on)
    if before is None or dip.sludge_mm is None or before.sludge_mm is None:
        return
    least = before.sludge_mm - max(LESS_MM, LESS_SHARE * before.sludge_mm)
    if dip.sludge_mm < least:
        day = f"{before.visit.visited_on:%d %B %Y}".lstrip("0")
        yield Refusal(
            f"{name}.sludge_mm",
            f"On {day} the sludge was {before.sludge_mm:,} mm deep, and no emptying is on record "
            f"since. Now {dip.sludge_mm:,} mm: measure again; if somebody else emptied it, say so "
            "in the notes and confirm.",
            can_be_confirmed=True,
        )


def last_sludge(tank: Tank, before: dt.date) -> Dip | None:
    """The last measured sludge before a day, where nothing was taken out since; else None."""
    last = (
        Dip.objects.filter(
            tank=tank,
            visit__visited_on__lt=before,
            visit__abandoned_because="",
            visit__replaced_by__isnull=True,
            sludge_mm__isnull=False,
            after_removal=False,
        )
        .exclude(method=Dip.Method.ESTIMATE)
        .select_related("visit")
        .order_by("-visit__visited_on", "-pk")
        .first()
    )
    return last if last is not None and not emptied_since(last, before) else None


def emptied_since(dip: Dip, before: dt.date) -> bool:
    """Whether anything was taken out on the day of the dip or after it, until `before`."""
    system, day = dip.tank.system, dip.visit.visited_on
    emptied = system.visits.that_count().filter(
        emptying__isnull=False, visited_on__gte=day, visited_on__lt=before
    )
    told = system.last_emptied_on
    return emptied.exists() or (told is not None and day <= told <= before)
