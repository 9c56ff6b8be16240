"""A crew's figures for one tank turned into what is recorded, both kept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from servicing import readings
from servicing.models import Dip
from servicing.visit_facts import DipFound

if TYPE_CHECKING:
    from collections.abc import Mapping

    from servicing.models import Tank

# Names of the figures in words, for the record and the office.
FIGURE_WORDS = {
    "sludge_mm": "sludge",
    "scum_mm": "scum",
    "liquid_level_mm": "liquid against the outlet",
    "down_floor": "floor",
    "down_sludge": "top of the sludge",
    "down_scum_top": "top of the scum",
    "down_scum_bottom": "underside of the scum",
    "down_liquid": "liquid",
    "notch_sludge": "sludge",
    "notch_scum": "scum",
    "notch_mm": "a notch",
    "clear_sludge": "clear above the sludge",
    "clear_scum": "clear below the scum",
}
WAY_WORDS = {
    readings.COVER: "down from the cover",
    readings.NOTCHES: "notches on a stick",
    readings.CLEAR_SPACE: "clear water",
}
BARE = frozenset({"notch_sludge", "notch_scum"})


def heights_of(tank: Tank) -> readings.Heights:
    """What the register holds of a tank's heights."""
    return readings.Heights(
        outlet_mm=tank.outlet_height_mm,
        dip_pipe_mm=tank.outlet_dip_pipe_mm,
        cover_mm=tank.cover_above_floor_mm,
    )


def dip_read(
    *,
    tank: Tank,
    way: str,
    figures: Mapping[str, float | None],
    method: str = Dip.Method.CORE_SAMPLER,
    after_removal: bool = False,
) -> DipFound:
    """What was found, from figures read in one of the ways of servicing.readings.

    Raises readings.ReadingRefused, which names the figure, for what cannot be.
    """
    depths = readings.depths_of(way, figures, heights_of(tank))
    given = {name: figures[name] for name in readings.FIGURES[way] if figures.get(name) is not None}
    return DipFound(
        tank=tank,
        sludge_mm=depths.sludge_mm,
        scum_mm=depths.scum_mm,
        liquid_level_mm=depths.liquid_level_mm,
        method=method,
        after_removal=after_removal,
        entered={} if way == readings.DEPTHS else {"way": way, **given},
    )


def entered_words(entered: Mapping[str, Any]) -> str:
    """What was read, in words, as it was entered; empty where depths were entered themselves."""
    way = entered.get("way")
    if way not in WAY_WORDS:
        return ""
    told = [
        f"{FIGURE_WORDS[name]} {figure_words(entered[name], bare=name in BARE)}"
        for name in readings.FIGURES[str(way)]
        if name in entered
    ]
    return f"{WAY_WORDS[str(way)]}: {', '.join(told)}"


def figure_words(value: float, *, bare: bool) -> str:
    """Millimetres, or a bare count of notches."""
    return f"{value:g}" if bare else f"{value:,.0f} mm"
