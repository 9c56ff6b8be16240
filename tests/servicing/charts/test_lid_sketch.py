"""The way to a cover from two corners.

Checked against Pythagoras (Euclid I.47): in a triangle of 5, 5 and 6 the height is 4; with sides 3
and 5 and a wall of 4 the angle at the first corner is right. A minute of latitude is close to a
nautical mile, 1,852 m (International Hydrographic Conference 1929).
"""

import xml.etree.ElementTree as ET

import pytest

from servicing.charts import TwoCorners, away, lid_sketch


def corners(one, other, apart, corner="north corner"):
    return TwoCorners(corner, one, "porch", other, apart)


@pytest.mark.parametrize(
    ("one", "other", "apart", "cover"),
    [(5, 5, 6, (3, 4)), (3, 5, 4, (0, 3)), (5, 3, 4, (4, 3)), (13, 20, 21, (5, 12))],
)
def test_two_distances_place_the_cover(one, other, apart, cover):
    assert corners(one, other, apart).cover == pytest.approx(cover)


@pytest.mark.parametrize("sides", [(1, 1, 6), (9, 2, 3), (5, 5, 0)])
def test_distances_that_do_not_meet_are_not_drawn(sides):
    assert corners(*sides).cover is None
    assert lid_sketch(corners(*sides), key="k") == ""


def test_the_sketch_says_in_words_what_it_draws():
    drawn = ET.fromstring(lid_sketch(corners(5, 5, 6), key="k"))  # noqa: S314 - our own drawing
    said = " ".join(drawn.itertext())
    assert "5 m from A, north corner; 5 m from B, porch" in said
    assert "6 m" in said


def test_what_somebody_typed_stays_text():
    assert "<b>" not in lid_sketch(corners(5, 5, 6, corner="<b>x</b>"), key="k")


@pytest.mark.parametrize(
    ("there", "metres", "point"),
    [((52 + 1 / 60, -3), 1852, "north"), ((52 - 1 / 60, -3), 1852, "south")],
)
def test_a_minute_of_latitude_is_a_nautical_mile(there, metres, point):
    far, where = away((52, -3), there)
    assert far == pytest.approx(metres, rel=0.002)
    assert where == point


def test_a_degree_of_longitude_shrinks_by_the_cosine_of_latitude():
    equator, halfway = away((0, 0), (0, 0.001)), away((60, 0), (60, 0.001))
    assert halfway[0] == pytest.approx(equator[0] / 2, rel=1e-6)
    assert halfway[1] == "east"
