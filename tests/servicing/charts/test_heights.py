"""Checked against exact geometry: segment of a circle and cap of a ball.

The values are those of the published tables of partly filled lying cylinders; they follow from the
formulas and are exact to the digits given.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.charts.heights import SHAPES, height_share, straight


@pytest.mark.parametrize(
    ("shape", "share", "height"),
    [
        ("horizontal_cylinder", 0.25, 0.298014),
        ("horizontal_cylinder", 0.30, 0.340154),
        ("horizontal_cylinder", 1 / 3, 0.367534),
        ("horizontal_cylinder", 0.5, 0.5),
        ("horizontal_cylinder", 0.70, 0.659846),
        ("sphere", 0.15625, 0.25),
        ("sphere", 1 / 3, 0.386963),
        ("rectangular", 0.4, 0.4),
        ("unknown", 0.4, 0.4),
    ],
)
def test_a_share_of_the_volume_stands_at_its_height(shape, share, height):
    assert height_share(shape, share) == pytest.approx(height, abs=1e-6)


def test_heights_count_from_the_floor_to_the_outlet():
    # D 1.60 m, outlet 1.36 m, sludge 0.50 m holds 0.294708 of the working volume: by hand
    # F(0.3125) / F(0.85), F(x) = (acos c - c sqrt(1 - c²)) / pi, c = 1 - 2x.
    assert height_share("horizontal_cylinder", 0.294708, 0.85) == pytest.approx(
        0.50 / 1.36, abs=1e-5
    )


@given(
    shape=st.sampled_from([*SHAPES, "rectangular"]),
    share=st.floats(0, 1),
    outlet=st.floats(0.3, 1),
)
def test_the_volume_below_the_height_is_the_share(shape, share, outlet):
    filled = SHAPES.get(shape, straight)
    height = height_share(shape, share, outlet) * outlet
    assert filled(min(1.0, height)) == pytest.approx(share * filled(outlet), abs=1e-6)


def test_a_share_outside_the_tank_stays_inside():
    assert height_share("rectangular", 1.7) == pytest.approx(1.0)
    assert height_share("rectangular", -0.2) == pytest.approx(0.0, abs=1e-6)
