"""What a crew reads in a tank, turned into depths: from the cover, by notches, by clear space.

Pure: numbers and frozen rows, no Django. All lengths in millimetres. The sludge lies on the floor,
the scum floats at the liquid, and the liquid of a tank in use stands at the outlet's invert.
`static/scheduler/js/tank_readings.js` does the same on the telephone; a test compares the two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

DEPTHS, COVER, NOTCHES, CLEAR_SPACE = "depths", "cover", "notches", "clear_space"
WAYS = (
    (DEPTHS, "Depths from the floor"),
    (COVER, "Down from the cover"),
    (NOTCHES, "Notches on a stick"),
    (CLEAR_SPACE, "Clear water"),
)
# Which figures each way takes; `liquid_level_mm` is against the outlet, above it positive.
FIGURES = {
    DEPTHS: ("sludge_mm", "scum_mm", "liquid_level_mm"),
    COVER: ("down_floor", "down_sludge", "down_scum_top", "down_scum_bottom", "down_liquid"),
    NOTCHES: ("notch_sludge", "notch_scum", "notch_mm", "liquid_level_mm"),
    CLEAR_SPACE: ("clear_sludge", "clear_scum", "liquid_level_mm"),
}
# Kept with the reading, but no reading themselves.
NOT_READ = frozenset({"notch_mm", "down_floor"})

Figures = Mapping[str, float | None]


class ReadingRefused(ValueError):
    """A figure that cannot be true, or one that is missing; `figure` names it."""

    def __init__(self, figure: str, text: str) -> None:
        super().__init__(text)
        self.figure = figure
        self.text = text


@dataclass(frozen=True, slots=True, kw_only=True)
class Heights:
    """Heights in one tank, mm above its floor; None where nobody has written them down.

    `dip_pipe_mm` is how far the outlet's dip pipe hangs below the outlet.
    """

    outlet_mm: float | None = None
    dip_pipe_mm: float | None = None
    cover_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Depths:
    """Depth of the sludge, thickness of the scum, liquid against the outlet, in whole mm."""

    sludge_mm: int | None = None
    scum_mm: int | None = None
    liquid_level_mm: int | None = None


def depths_of(way: str, figures: Figures, heights: Heights) -> Depths:
    """Depths that the figures of one way of measuring come to.

    Raises ReadingRefused for what is missing, below nothing, or the wrong way round. How exact it
    is is how exact it was read: one notch is worth half its spacing either side.
    """
    told = {name: figures.get(name) for name in FIGURES[way]}
    for name, value in told.items():
        if value is not None and value < 0 and name != "liquid_level_mm":
            raise ReadingRefused(name, "A depth cannot be less than nothing.")
    turn = {DEPTHS: _as_given, COVER: _from_cover, NOTCHES: _by_notches, CLEAR_SPACE: _by_clear}
    return turn[way](told, heights)


def says_something(way: str, figures: Figures) -> bool:
    """Whether any reading was taken: a notch's size or a floor alone is none."""
    return any(figures.get(name) is not None for name in FIGURES[way] if name not in NOT_READ)


def whole(value: float) -> int:
    """Nearest whole millimetre, halves upwards: as the telephone rounds too."""
    return math.floor(value + 0.5)


def _as_given(told: Figures, heights: Heights) -> Depths:
    return Depths(
        sludge_mm=_whole(told["sludge_mm"]),
        scum_mm=_whole(told["scum_mm"]),
        liquid_level_mm=_whole(told["liquid_level_mm"]),
    )


def _whole(value: float | None) -> int | None:
    return None if value is None else whole(value)


def _from_cover(told: Figures, heights: Heights) -> Depths:
    """From the rim downwards: cover, top of scum, its underside, top of sludge, floor."""
    floor = told["down_floor"] if told["down_floor"] is not None else heights.cover_mm
    _in_order(told, floor)
    sludge, scum = told["down_sludge"], _scum_below(told)
    if floor is None and (sludge is not None or scum is None):
        raise ReadingRefused(
            "down_floor", "Measure down to the floor as well: the register does not hold it."
        )
    level = _level_below(told["down_liquid"], floor, heights.outlet_mm)
    if sludge is None and scum is None and level is None:
        raise ReadingRefused(
            "down_liquid",
            "How high the outlet is is not in the register: give the sludge or the scum as well.",
        )
    return Depths(
        sludge_mm=None if sludge is None or floor is None else whole(floor - sludge),
        scum_mm=scum,
        liquid_level_mm=level,
    )


def _level_below(down: float | None, floor: float | None, outlet: float | None) -> int | None:
    """Liquid against the outlet; None where a height is not known."""
    if down is None or floor is None or outlet is None:
        return None
    return whole(floor - down - outlet)


def _scum_below(told: Figures) -> int | None:
    """Thickness of the scum; where its top was not read, the liquid stands for it."""
    top, bottom = told["down_scum_top"], told["down_scum_bottom"]
    if bottom is None:
        if top is not None:
            raise ReadingRefused("down_scum_bottom", "Give the underside of the scum as well.")
        return None
    top = told["down_liquid"] if top is None else top
    if top is None:
        raise ReadingRefused("down_scum_top", "Give the top of the scum as well.")
    return whole(bottom - top)


def _in_order(told: Figures, floor: float | None) -> None:
    """Each layer lies below the one above it."""
    before: tuple[str, float] | None = None
    for name, words in (
        ("down_scum_top", "top of the scum"),
        ("down_scum_bottom", "underside of the scum"),
        ("down_sludge", "top of the sludge"),
    ):
        at = told[name]
        if at is None:
            continue
        if before is not None and at < before[1]:
            raise ReadingRefused(name, f"The {words} cannot lie above the {before[0]}.")
        before = (words, at)
        if floor is not None and at > floor:
            raise ReadingRefused(name, f"The floor is {floor:,.0f} mm down: this lies below it.")
    liquid = told["down_liquid"]
    if liquid is None:
        return
    if floor is not None and liquid > floor:
        raise ReadingRefused(
            "down_liquid", f"The floor is {floor:,.0f} mm down: this lies below it."
        )
    bottom = told["down_scum_bottom"]
    if bottom is not None and liquid > bottom:
        raise ReadingRefused("down_liquid", "The liquid cannot stand below the scum on it.")


def _by_notches(told: Figures, heights: Heights) -> Depths:
    spacing = told["notch_mm"]
    counted = [name for name in ("notch_sludge", "notch_scum") if told[name] is not None]
    if counted and not spacing:
        raise ReadingRefused("notch_mm", "Say how far apart the notches of the stick are.")

    def deep(notches: float | None) -> int | None:
        return None if notches is None or not spacing else whole(notches * spacing)

    return Depths(
        sludge_mm=deep(told["notch_sludge"]),
        scum_mm=deep(told["notch_scum"]),
        liquid_level_mm=_whole(told["liquid_level_mm"]),
    )


def _by_clear(told: Figures, heights: Heights) -> Depths:
    """Clear water between a layer and the end of the outlet's dip pipe, else the outlet itself."""
    clear_sludge, clear_scum = told["clear_sludge"], told["clear_scum"]
    outlet, pipe = heights.outlet_mm, heights.dip_pipe_mm
    sludge = scum = None
    if clear_sludge is not None:
        if outlet is None:
            raise ReadingRefused(
                "clear_sludge",
                "How high the outlet is is not in the register: measure from the floor or the "
                "cover instead.",
            )
        room = outlet - (pipe or 0)
        if clear_sludge > room:
            raise ReadingRefused(
                "clear_sludge", f"There are only {room:,.0f} mm from there down to the floor."
            )
        sludge = whole(room - clear_sludge)
    if clear_scum is not None:
        if not pipe:
            raise ReadingRefused(
                "clear_scum",
                "How long the outlet's dip pipe is is not in the register: measure how thick the "
                "scum is instead.",
            )
        if clear_scum > pipe:
            raise ReadingRefused("clear_scum", f"The dip pipe hangs only {pipe:,.0f} mm down.")
        scum = whole(pipe - clear_scum)
    return Depths(sludge_mm=sludge, scum_mm=scum, liquid_level_mm=_whole(told["liquid_level_mm"]))
