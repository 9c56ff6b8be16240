"""Whether a visit as told can be true: what is impossible, and what wants a second look."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from servicing.dip_checks import odd_readings
from servicing.models import Tank, Visit
from servicing.visit_facts import Refusal
from servicing.volumes import spoken

if TYPE_CHECKING:
    from collections.abc import Iterator

    from servicing.models import System
    from servicing.visit_facts import DipFound, RemovalFound, VisitFound

# Above the outlet there is air room, and water runs back from the field while emptying.
# A quarter more than the working volume is common practice, no source.
MOST_REMOVED_SHARE = 1.25
MOST_REMOVED_LITRES = 500_000
DEEPEST_MM = 10_000

# Reasons for which the cover was never touched, so nobody need say that it is back.
COVER_UNTOUCHED = frozenset(
    {
        Visit.Abandoned.NO_ACCESS,
        Visit.Abandoned.LOCKED_GATE,
        Visit.Abandoned.DOG,
        Visit.Abandoned.NOT_FOUND,
        Visit.Abandoned.REFUSED,
    }
)


def refusals_of(
    *, system: System, found: VisitFound, today: dt.date, units: str = "litres"
) -> tuple[Refusal, ...]:
    """Everything that speaks against the visit; what `found.sure` confirms is left out."""
    every = (
        *day_refusals(system, found, today),
        *closing_refusals(found),
        *dip_refusals(system, found),
        *odd_readings(system, found),
        *removal_refusals(system, found, units),
        *floating_refusals(found),
        *(
            Refusal(f"chambers[{index}].chamber", "This chamber belongs to another system.")
            for index, one in enumerate(found.chambers)
            if one.chamber.system_id != system.pk
        ),
    )
    return tuple(one for one in every if not (one.can_be_confirmed and found.sure))


def day_refusals(system: System, found: VisitFound, today: dt.date) -> Iterator[Refusal]:
    """A visit is not in the future, not before the system was there, and ends after it began."""
    if found.visited_on > today:
        yield Refusal("visited_on", "This day has not come yet.")
    if system.installed_on and found.visited_on < system.installed_on:
        day = f"{system.installed_on:%d %B %Y}".lstrip("0")
        yield Refusal("visited_on", f"The system was installed on {day}, after this day.")
    if found.arrived_at and found.left_at and found.left_at < found.arrived_at:
        yield Refusal("left_at", "The crew left before it arrived.")


def closing_refusals(found: VisitFound) -> Iterator[Refusal]:
    """Work closes with the cover back on; what was abandoned says why."""
    if found.carried_out_by_others:
        return
    if not found.abandoned_because:
        if not found.lid_back_on:
            yield Refusal("lid_back_on", "Put the cover back on and fasten it before you close.")
        return
    if found.abandoned_because not in Visit.Abandoned.values:
        yield Refusal("abandoned_because", "Choose one of the reasons.")
    elif cover_may_be_off(found):
        yield Refusal(
            "lid_back_on",
            "The cover is not said to be back on. Guard the opening, ring in, then confirm.",
            can_be_confirmed=True,
        )
    if found.removal is not None:
        yield Refusal(
            "abandoned_because", "Something was taken out: record it as a visit, not abandoned."
        )


def cover_may_be_off(found: VisitFound) -> bool:
    """Whether work was abandoned with a cover that was lifted and is not said to be back on.

    Where nobody said whether it was lifted, the reason tells.
    """
    lifted = found.cover_lifted
    if lifted is None:
        lifted = found.abandoned_because not in COVER_UNTOUCHED
    return lifted and not found.lid_back_on


def dip_refusals(system: System, found: VisitFound) -> Iterator[Refusal]:
    """Readings fit in the tank they were taken in."""
    for index, dip in enumerate(found.dips):
        name = f"dips[{index}]"
        if dip.tank.system_id != system.pk:
            yield Refusal(f"{name}.tank", "This tank belongs to another system.")
        if not dip.says_something:
            yield Refusal(f"{name}.sludge_mm", "Give at least one reading.")
        yield from depth_refusals(dip, name)
        yield from level_refusals(dip, name)


def depth_refusals(dip: DipFound, name: str) -> Iterator[Refusal]:
    """Sludge and scum are no deeper than the tank."""
    most = most_depth_mm(dip.tank, dip.liquid_level_mm)
    for field, depth, word in (
        ("sludge_mm", dip.sludge_mm, "sludge"),
        ("scum_mm", dip.scum_mm, "scum"),
    ):
        if depth is None:
            continue
        if depth < 0:
            yield Refusal(f"{name}.{field}", "A depth cannot be less than nothing.")
        elif depth > (DEEPEST_MM if most is None else most):
            yield Refusal(f"{name}.{field}", depth_words(depth, word, most))
    both = (dip.sludge_mm or 0) + (dip.scum_mm or 0)
    if most is not None and max(dip.sludge_mm or 0, dip.scum_mm or 0) <= most < both:
        yield Refusal(
            f"{name}.scum_mm",
            f"Sludge and scum come to {both:,} mm in a tank {most:,} mm deep. "
            "Measure again, or confirm.",
            can_be_confirmed=True,
        )
    if dip.litres is not None and dip.litres < 0:
        yield Refusal(f"{name}.litres", "A volume cannot be less than nothing.")


def depth_words(depth: int, word: str, most: int | None) -> str:
    """Why a depth cannot be."""
    if most is None:
        return f"{depth:,} mm of {word} is deeper than any tank. Give millimetres."
    return f"{depth:,} mm of {word} is deeper than the tank, which is {most:,} mm there."


def level_refusals(dip: DipFound, name: str) -> Iterator[Refusal]:
    """The liquid stands between the floor and the ground."""
    level, outlet = dip.liquid_level_mm, dip.tank.outlet_height_mm
    if level is None:
        return
    if outlet is not None and level < -outlet:
        yield Refusal(f"{name}.liquid_level_mm", f"The floor is {outlet:,} mm below the outlet.")
        return
    cover = dip.tank.cover_above_floor_mm
    if outlet is not None and cover is not None and level > cover - outlet:
        said = f"The cover is {cover - outlet:,} mm above the outlet: the liquid is not above it."
        yield Refusal(f"{name}.liquid_level_mm", said)
    elif abs(level) > DEEPEST_MM:
        yield Refusal(f"{name}.liquid_level_mm", "Give millimetres above or below the outlet.")


def most_depth_mm(tank: Tank, liquid_level_mm: int | None) -> int | None:
    """Depth that no layer in `tank` can exceed, in mm; None when the tank's height is not known.

    The liquid stands at the outlet unless it was found higher; the inside of the shell, where it
    is known, is the end of it.
    """
    inside = inside_height_mm(tank)
    if tank.outlet_height_mm is None:
        return inside
    liquid = tank.outlet_height_mm + max(liquid_level_mm or 0, 0)
    return liquid if inside is None else min(liquid, max(inside, tank.outlet_height_mm))


def inside_height_mm(tank: Tank) -> int | None:
    """Height of the inside of the shell where its shape tells it."""
    height: int | None = None
    if tank.shape in (Tank.Shape.HORIZONTAL_CYLINDER, Tank.Shape.SPHERE):
        height = tank.diameter_mm
    elif tank.strapping_table:
        height = round(max(depth for depth, _ in tank.strapping_table))
    return height


def removal_refusals(system: System, found: VisitFound, units: str) -> Iterator[Refusal]:
    """What was taken out fits what there was and what it was taken away in."""
    removal = found.removal
    if removal is None:
        return
    yield from litres_refusals(removal, found.tanker_litres, working_volume(system), units)
    left, volume = removal.left_behind_litres, working_volume(system)
    if left is not None and left < 0:
        yield Refusal("removal.left_behind_litres", "A volume cannot be less than nothing.")
    elif left is not None and volume is not None and left > volume:
        yield Refusal(
            "removal.left_behind_litres", f"The tank holds {spoken(volume, units)} altogether."
        )


def floating_refusals(found: VisitFound) -> Iterator[Refusal]:
    """A tank emptied right out in saturated ground can float, unless water goes back in."""
    removal = found.removal
    if removal is None or found.ground != Visit.Ground.SATURATED:
        return
    if removal.all_compartments and not removal.refilled_with_water:
        yield Refusal(
            "removal.refilled_with_water",
            "Emptied right out in saturated ground, the tank can float up. "
            "Refill it with water, or confirm.",
            can_be_confirmed=True,
        )


def litres_refusals(
    removal: RemovalFound, tanker: float | None, volume: float | None, units: str
) -> Iterator[Refusal]:
    """Litres removed against the tank and the tanker."""
    litres, field = removal.litres_removed, "removal.litres_removed"
    if litres is None:
        return
    if litres < 0:
        yield Refusal(field, "A volume cannot be less than nothing.")
        return
    if litres > MOST_REMOVED_LITRES:
        yield Refusal(field, f"More than {spoken(MOST_REMOVED_LITRES, units)} is not one visit.")
        return
    said = spoken(litres, units)
    if volume is not None and litres > MOST_REMOVED_SHARE * volume:
        yield Refusal(
            field,
            f"{said} out of a tank of {spoken(volume, units)}: look again, or confirm.",
            can_be_confirmed=True,
        )
    if tanker is not None and litres > tanker:
        yield Refusal(
            field,
            f"{said} is more than one load of {spoken(tanker, units)}: look again, or confirm.",
            can_be_confirmed=True,
        )


def working_volume(system: System) -> float | None:
    """Litres below the outlet in all tanks together; None unless each is known."""
    volumes = [tank.working_volume_litres for tank in system.tanks.all()]
    if not volumes or any(volume is None for volume in volumes):
        return None
    return sum(volume for volume in volumes if volume is not None)
