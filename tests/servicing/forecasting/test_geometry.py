import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.geometry import (
    HorizontalCylinder,
    HorizontalEllipse,
    Sphere,
    StrappingTable,
    prismatic_stack,
    rectangular,
    segment_height,
    segment_share,
    sphere_height,
    sphere_share,
    upright_cylinder,
)
from tests.servicing.forecasting.known import published

SHAPES = [
    HorizontalCylinder(1600, 2400),
    HorizontalEllipse(1400, 1900, 2600),
    Sphere(1900),
    StrappingTable(((0, 0), (300, 450), (900, 1900), (1500, 2800))),
    prismatic_stack(((300, 0.8), (700, 1.9), (400, 1.2))),
    rectangular(2000, 1200, 1500),
    upright_cylinder(1500, 1800),
]


@pytest.mark.parametrize("row", published("tank_geometry_checks.csv"))
def test_shares_agree_with_exact_geometry(row):
    # Exact: circular segment over circle, spherical cap over sphere (the table says so).
    x = float(row["h_over_D"])
    if x == pytest.approx(1 / 3, abs=1e-4):
        x = 1 / 3
    assert segment_share(x) == pytest.approx(float(row["horizontal_cylinder"]), abs=1e-6)
    assert sphere_share(x) == pytest.approx(float(row["sphere"]), abs=1e-6)
    assert upright_cylinder(1000, 1000).litres_below(1000 * x) / (np.pi / 4 * 1000) == (
        pytest.approx(float(row["upright"]), abs=1e-6)
    )


@pytest.mark.parametrize(
    ("share", "height"), [(0.25, 0.298014), (0.30, 0.340154), (1 / 3, 0.367534), (0.70, 0.659846)]
)
def test_lying_drum_height_of_a_share_is_the_segment_turned_round(share, height):
    # Exact: the roots of the circular-segment equation, to six figures.
    assert segment_height(share) == pytest.approx(height, abs=1e-6)


def test_sphere_height_of_a_third_is_the_root_of_its_cubic():
    assert sphere_height(1 / 3) == pytest.approx(0.386963, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
@given(part=st.floats(0, 1))
def test_litres_turn_back_into_the_same_depth(shape, part):
    depth = part * shape.full_height_mm
    assert shape.depth_of(shape.litres_below(depth)) == pytest.approx(depth, abs=1e-3)


@pytest.mark.parametrize("shape", SHAPES)
def test_deeper_never_holds_less(shape):
    litres = shape.litres_below(np.linspace(0, shape.full_height_mm, 200))
    assert np.all(np.diff(litres) > 0)
    assert litres[0] == 0


@pytest.mark.parametrize("shape", [HorizontalCylinder(1600, 2400), Sphere(1900)])
def test_volume_agrees_with_slices_added_up(shape):
    # Independent: horizontal slices of the solid, added up by the trapezium rule.
    heights = np.linspace(0, 700, 20001)
    half = shape.full_height_mm / 2
    chord = np.sqrt(half**2 - (heights - half) ** 2)
    area = 2 * chord * 2400 if isinstance(shape, HorizontalCylinder) else np.pi * chord**2
    assert np.trapezoid(area, heights) / 1e6 == pytest.approx(shape.litres_below(700), rel=1e-5)


def test_ellipse_of_equal_axes_is_a_lying_drum():
    ellipse, drum = HorizontalEllipse(1600, 1600, 2000), HorizontalCylinder(1600, 2000)
    depths = np.linspace(0, 1600, 9)
    assert ellipse.litres_below(depths) == pytest.approx(drum.litres_below(depths))


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf"), 30_001])
def test_an_impossible_dimension_is_named(bad):
    with pytest.raises(BadMeasure) as caught:
        HorizontalCylinder(bad, 1000)
    assert caught.value.field == "diameter_mm"


def test_a_depth_outside_the_tank_is_refused():
    with pytest.raises(ValueError, match="between 0 and 1"):
        Sphere(1000).litres_below(1001)


@pytest.mark.parametrize(
    "rows", [((0, 0),), ((10, 0), (20, 5)), ((0, 0), (5, 5), (5, 6)), ((0, 0), (5, 9), (6, 8))]
)
def test_a_strapping_table_that_does_not_rise_is_refused(rows):
    with pytest.raises(BadMeasure):
        StrappingTable(rows)


def test_a_stack_with_no_floor_area_is_refused():
    with pytest.raises(BadMeasure, match="area_m2"):
        prismatic_stack(((100, 0.0),))
