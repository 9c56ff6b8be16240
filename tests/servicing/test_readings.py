"""Figures as crews read them, turned into depths.

Clear spaces after the US EPA's homeowner guidance, 310 CMR 15.351 and Minnesota R. 7080.2450,
restated in inches and millimetres: the sludge's top 12 in (305 mm) below the outlet, the scum's
underside 3 in (76 mm) above the baffle's end. The rest is plain subtraction, worked by hand.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.readings import (
    CLEAR_SPACE,
    COVER,
    DEPTHS,
    FIGURES,
    NOTCHES,
    WAYS,
    Heights,
    ReadingRefused,
    depths_of,
    says_something,
)

TANK = Heights(outlet_mm=1200, dip_pipe_mm=400, cover_mm=1900)
UNKNOWN = Heights()


def depths(way, heights=TANK, **figures):
    found = depths_of(way, figures, heights)
    return found.sludge_mm, found.scum_mm, found.liquid_level_mm


def refused_at(way, heights=TANK, **figures):
    with pytest.raises(ReadingRefused) as refused:
        depths_of(way, figures, heights)
    return refused.value.figure


def test_depths_are_taken_as_they_are():
    assert depths(DEPTHS, sludge_mm=310, scum_mm=60, liquid_level_mm=-20) == (310, 60, -20)


def test_from_the_cover_down():
    figures = {"down_scum_top": 690, "down_scum_bottom": 770, "down_sludge": 1590}
    assert depths(COVER, down_liquid=700, **figures) == (310, 80, 0)


def test_the_liquid_stands_for_a_top_of_the_scum_nobody_read():
    assert depths(COVER, down_liquid=700, down_scum_bottom=760) == (None, 60, 0)


def test_the_floor_felt_today_goes_before_the_register():
    assert depths(COVER, down_floor=1850, down_sludge=1590) == (260, None, None)


def test_a_depth_from_the_cover_needs_a_floor():
    assert refused_at(COVER, UNKNOWN, down_sludge=1590) == "down_floor"
    assert depths(COVER, UNKNOWN, down_sludge=1590, down_floor=2000) == (410, None, None)


def test_scum_needs_no_floor():
    assert depths(COVER, UNKNOWN, down_scum_top=690, down_scum_bottom=750) == (None, 60, None)


@pytest.mark.parametrize(
    ("figures", "figure"),
    [
        ({"down_scum_top": 800, "down_scum_bottom": 700}, "down_scum_bottom"),
        ({"down_scum_top": 600, "down_scum_bottom": 900, "down_sludge": 850}, "down_sludge"),
        ({"down_sludge": 1950}, "down_sludge"),
        ({"down_liquid": 1950}, "down_liquid"),
        ({"down_liquid": 800, "down_scum_bottom": 760}, "down_liquid"),
        ({"down_scum_top": 700}, "down_scum_bottom"),
        ({"down_scum_bottom": 700}, "down_scum_top"),
        ({"down_sludge": -5}, "down_sludge"),
    ],
)
def test_layers_the_wrong_way_round_are_refused(figures, figure):
    assert refused_at(COVER, **figures) == figure


def test_notches_by_the_stick():
    assert depths(NOTCHES, notch_sludge=7.5, notch_scum=1, notch_mm=50) == (375, 50, None)
    assert depths(NOTCHES, notch_sludge=3, notch_mm=25.4) == (76, None, None)
    assert refused_at(NOTCHES, notch_sludge=7) == "notch_mm"


def test_clear_space_to_the_end_of_the_dip_pipe():
    # Outlet 1,200 mm, dip pipe 400 mm: the pipe ends 800 mm above the floor.
    assert depths(CLEAR_SPACE, clear_sludge=305, clear_scum=76) == (495, 324, None)


def test_without_a_dip_pipe_the_clear_space_ends_at_the_outlet():
    assert depths(CLEAR_SPACE, Heights(outlet_mm=1200), clear_sludge=305) == (895, None, None)


def test_clear_space_needs_the_heights():
    assert refused_at(CLEAR_SPACE, UNKNOWN, clear_sludge=305) == "clear_sludge"
    assert refused_at(CLEAR_SPACE, Heights(outlet_mm=1200), clear_scum=76) == "clear_scum"
    assert refused_at(CLEAR_SPACE, clear_sludge=801) == "clear_sludge"
    assert refused_at(CLEAR_SPACE, clear_scum=401) == "clear_scum"


def test_a_stick_and_a_floor_alone_say_nothing():
    assert not says_something(NOTCHES, {"notch_mm": 50})
    assert not says_something(COVER, {"down_floor": 1900})
    assert says_something(COVER, {"down_liquid": 700})


@given(
    sludge=st.integers(0, 800), scum=st.integers(0, 400), notch=st.sampled_from((10, 25, 40, 50))
)
def test_every_way_of_reading_one_tank_agrees(sludge, scum, notch):
    top = TANK.cover_mm - TANK.outlet_mm
    ways = {
        DEPTHS: {"sludge_mm": sludge, "scum_mm": scum},
        COVER: {
            "down_scum_top": top,
            "down_scum_bottom": top + scum,
            "down_sludge": TANK.cover_mm - sludge,
        },
        NOTCHES: {"notch_sludge": sludge / notch, "notch_scum": scum / notch, "notch_mm": notch},
        CLEAR_SPACE: {"clear_sludge": 800 - sludge, "clear_scum": 400 - scum},
    }
    assert {depths(way, **figures)[:2] for way, figures in ways.items()} == {(sludge, scum)}


def test_every_way_has_its_figures():
    assert {way for way, _ in WAYS} == set(FIGURES)
