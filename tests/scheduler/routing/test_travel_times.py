"""Great circles against published examples; the embedded estimate by its laws; the guard."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.routing.errors import BadMatrix
from scheduler.routing.travel_times import (
    BAND_STARTS_M,
    EARTH_RADIUS_M,
    GivenMatrix,
    Place,
    StraightLine,
    TravelTable,
    calibrate,
    great_circle_metres,
    guarded_table,
    road_metres,
    road_seconds,
)

YARD, FARM, MILL = (
    Place("yard", 52.0, -3.0),
    Place("farm", 52.1, -3.1),
    Place("mill", 51.9, -2.8),
)
latitudes = st.floats(-89, 89)
longitudes = st.floats(-180, 180)
metres = st.floats(0, 500_000)


def test_los_angeles_to_new_york_is_the_published_arc():
    """Source: Williams, Aviation Formulary V1.46, worked examples.

    33°57'N 118°24'W to 40°38'N 73°47'W is 0.623585 radians, 2144 nautical miles.
    """
    distance = great_circle_metres(33 + 57 / 60, -(118 + 24 / 60), 40 + 38 / 60, -(73 + 47 / 60))
    assert float(distance) / EARTH_RADIUS_M == pytest.approx(0.623585, abs=1e-6)
    assert math.degrees(float(distance) / EARTH_RADIUS_M) * 60 == pytest.approx(2144, abs=0.5)


def test_paris_to_washington_is_within_the_spheres_error_of_the_ellipsoid():
    """Source: Meeus, Astronomical Algorithms, example 11.c: 6181.63 km on the ellipsoid.

    The observatories stand at 48°50'11"N 2°20'14"E and 38°55'17"N 77°03'56"W.
    """
    distance = great_circle_metres(48.836389, 2.337222, 38.921389, -77.065556)
    assert float(distance) == pytest.approx(6_181_630, rel=0.0056)


@given(latitudes, longitudes, latitudes, longitudes)
def test_a_distance_is_the_same_both_ways(lat, lon, to_lat, to_lon):
    there = great_circle_metres(lat, lon, to_lat, to_lon)
    assert float(there) == pytest.approx(
        float(great_circle_metres(to_lat, to_lon, lat, lon)), abs=1e-3
    )
    assert 0 <= float(there) <= math.pi * EARTH_RADIUS_M * (1 + 1e-12)


@given(metres, metres)
def test_a_longer_line_never_makes_a_shorter_or_quicker_road(one, other):
    near, far = sorted((one, other))
    assert float(road_metres(np.array(near))) <= float(road_metres(np.array(far))) + 1e-6
    assert float(road_seconds(np.array(near))) <= float(road_seconds(np.array(far))) + 1e-6


@given(metres)
def test_a_road_is_never_shorter_than_the_line(line):
    assert float(road_metres(np.array(line))) >= line


def test_the_table_is_in_the_order_of_the_places():
    table = StraightLine().table([YARD, FARM, MILL])
    assert table.ids == ("yard", "farm", "mill")
    assert table.metres[0, 0] == table.seconds[2, 2] == 0
    assert table.metres[0, 1] == table.metres[1, 0] > 13_000


def test_calibration_leaves_times_alone_without_drives():
    assert calibrate([], []) == tuple([1.0] * len(BAND_STARTS_M))


def test_calibration_learns_the_median_ratio_of_a_band():
    legs = [(12_000.0, 1000.0)] * 92
    driven = [1300.0] * 90 + [50_000.0, 9.0]
    factors = calibrate(legs, driven)
    assert factors[3] == pytest.approx(1 + 0.3 * 92 / 100)
    assert factors[0] == factors[5] == 1.0


def test_calibrated_times_are_longer_in_their_band_only():
    plain = StraightLine().table([YARD, FARM]).seconds[0, 1]
    slow = StraightLine(calibration=(1, 1, 1, 1.2, 1.2, 1)).table([YARD, FARM]).seconds[0, 1]
    assert slow == pytest.approx(1.2 * plain, abs=2)


@pytest.mark.parametrize("calibration", [(1.0,), (0.0, 1, 1, 1, 1, 1), (1, 1, 1, 1, 1, 99)])
def test_an_impossible_calibration_is_refused(calibration):
    with pytest.raises(BadMatrix):
        StraightLine(calibration=calibration)


@pytest.mark.parametrize("bad", [None, float("nan"), -5, 3, 9_999_999])
def test_a_null_or_absurd_pair_never_reaches_the_planner(bad):
    seconds = [[0, bad, 2000], [1500, 0, 2500], [2000, 2500, 0]]
    distances = [[0, 14_000, 22_000], [14_000, 0, 30_000], [22_000, 30_000, 0]]
    table = GivenMatrix(ids=("yard", "farm", "mill"), metres=distances, seconds=seconds).table(
        [YARD, FARM, MILL]
    )
    assert table.seconds[0, 1] == StraightLine().table([YARD, FARM]).seconds[0, 1]
    assert table.seconds[1, 0] == 1500
    assert "1 of 6" in table.warnings[0]
    assert "yard to farm" in table.warnings[0]


def test_a_sound_matrix_passes_without_a_warning():
    table = guarded_table([YARD, FARM], [[0, 14_000], [14_100, 0]], [[0, 900], [950, 0]], "x")
    assert table.warnings == ()
    assert (table.metres[1, 0], table.seconds[1, 0]) == (14_100, 950)


def test_a_given_matrix_is_read_by_id_whatever_its_order():
    given_matrix = GivenMatrix(
        ids=("farm", "yard"), metres=[[0, 14_000], [14_100, 0]], seconds=[[0, 900], [950, 0]]
    )
    assert given_matrix.table([YARD, FARM]).metres[0, 1] == 14_100


@pytest.mark.parametrize(
    "matrix", [[[0, 1]], [[0, 1], [1]], [[0, "far"], [1, 0]], [[0, 1, 2], [1, 0, 2], [1, 2, 0]]]
)
def test_a_matrix_of_the_wrong_size_or_kind_is_refused(matrix):
    with pytest.raises(BadMatrix):
        GivenMatrix(ids=("yard", "farm"), metres=matrix, seconds=matrix).table([YARD, FARM])


def test_a_matrix_without_a_row_for_a_place_is_refused():
    with pytest.raises(BadMatrix) as caught:
        GivenMatrix(ids=("yard",), metres=[[0]], seconds=[[0]]).table([YARD, FARM])
    assert caught.value.item == "farm"


def test_a_guarded_table_of_the_wrong_size_is_refused():
    with pytest.raises(BadMatrix):
        guarded_table([YARD, FARM], [[0]], [[0]], "x")


@pytest.mark.parametrize("metres_given", [np.zeros((2, 3)), np.array([[0, -1], [1, 0]])])
def test_a_table_that_no_road_can_have_is_refused(metres_given):
    with pytest.raises(BadMatrix):
        TravelTable(
            ids=("a", "b"),
            metres=metres_given.astype(np.int64),
            seconds=np.zeros((2, 2), dtype=np.int64),
            source="test",
        )
