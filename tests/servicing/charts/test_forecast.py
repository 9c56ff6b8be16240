"""The forecast chart puts days and litres where they belong."""

from __future__ import annotations

import datetime as dt
import math
from itertools import pairwise
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.charts import PRINT, CurvePoint, DipMark, ForecastFacts, forecast_chart
from servicing.charts.forecast import NARROW, WIDE, plane_of, round_step, time_marks

FIRST = dt.date(2024, 1, 1)
TODAY = dt.date(2026, 1, 1)


def root_of(svg):
    return ET.fromstring(svg)  # noqa: S314 - text of our own making


def facts(**fields):
    days = [FIRST + dt.timedelta(days=100 * i) for i in range(20)]
    points = tuple(CurvePoint(day, 40.0 * i, 60.0 * i, 90.0 * i) for i, day in enumerate(days))
    known = {"points": points, "today": TODAY, "working_volume": 2700.0, "trigger": 900.0}
    return ForecastFacts(**{**known, **fields})


def marks(svg, kind):
    return [one for one in root_of(svg).iter() if one.get("class") == f"c-{kind}"]


def test_the_due_day_stands_at_its_date():
    due = dt.date(2026, 7, 1)
    svg = forecast_chart(facts(due_on=due))
    plane = plane_of(facts(due_on=due), WIDE)
    line = marks(svg, "due")[0]
    share = (due - FIRST).days / 1900
    assert float(line.get("x1")) == pytest.approx(
        plane.left + share * (plane.right - plane.left), abs=0.06
    )


def test_a_dip_stands_at_its_litres_with_its_error():
    svg = forecast_chart(facts(dips=(DipMark(TODAY, 500.0, 80.0),)))
    plane = plane_of(facts(), WIDE)
    (dip,) = marks(svg, "dip")
    assert float(dip.get("cy")) == pytest.approx(plane.y(500.0), abs=0.06)
    assert f"{plane.y(420.0):.1f}V{plane.y(580.0):.1f}" in marks(svg, "error")[0].get("d")


def test_each_emptying_is_marked():
    days = (FIRST, dt.date(2025, 6, 1))
    found = marks(forecast_chart(facts(emptied_on=days)), "emptied")
    assert [one[0].text for one in found] == ["Emptied on 1 January 2024", "Emptied on 1 June 2025"]


def test_the_frame_holds_the_trigger_but_no_more_than_the_tank():
    low = facts(points=(CurvePoint(FIRST, 1, 2, 3), CurvePoint(TODAY, 5, 6, 7)))
    assert plane_of(low, WIDE).most >= 900
    high = facts(points=(CurvePoint(FIRST, 1, 2, 3), CurvePoint(TODAY, 5, 6, 99_000)))
    assert plane_of(high, WIDE).most <= 2700 * 1.05


def test_it_says_in_words_what_it_shows():
    one = facts(
        due_on=dt.date(2026, 7, 1),
        ceiling_on=dt.date(2027, 1, 1),
        removal_low=dt.date(2026, 5, 1),
        removal_high=dt.date(2028, 3, 1),
    )
    said = root_of(forecast_chart(one)).find("{http://www.w3.org/2000/svg}desc").text
    assert "likely to reach 900 L between May 2026 and March 2028" in said
    assert "due on 1 July 2026" in said
    assert "no later than 1 January 2027" in said


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_time_marks_keep_their_distance(size):
    plane = plane_of(facts(), size)
    places = [plane.x(day) for day, _ in time_marks(plane)]
    assert len(places) > 2
    assert all(b - a >= 40 for a, b in pairwise(places))


def test_a_short_span_is_told_by_months():
    short = facts(
        points=(CurvePoint(FIRST, 1, 2, 3), CurvePoint(dt.date(2024, 12, 1), 5, 6, 7)), today=FIRST
    )
    texts = [text for _, text in time_marks(plane_of(short, WIDE))]
    assert texts == ["Jan 24", "Apr 24", "Jul 24", "Oct 24"]


@given(most=st.floats(1, 1e6))
def test_grid_steps_are_round_and_few(most):
    step = round_step(most, 5)
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert round(mantissa, 6) in {1, 2, 5}
    assert 2 <= most / step <= 5


def test_no_style_attributes_and_none_but_own_classes():
    svg = forecast_chart(facts(due_on=TODAY, ceiling_on=TODAY, dips=(DipMark(TODAY, 1.0),)))
    assert "style=" not in svg
    classes = {one.get("class") for one in root_of(svg).iter() if one.get("class")}
    assert all(part.startswith("c-") for value in classes for part in value.split())


def test_on_paper_colours_are_attributes():
    svg = forecast_chart(facts(due_on=TODAY, ceiling_on=TODAY), palette=PRINT)
    assert "class=" not in svg
    assert 'stroke="#98261a"' in svg


def test_the_words_at_the_top_do_not_touch():
    svg = forecast_chart(facts(due_on=TODAY, ceiling_on=TODAY + dt.timedelta(days=20)), size=NARROW)
    words = [one for one in root_of(svg).iter() if one.text in ("due", "latest", "today")]
    assert len({one.get("y") for one in words}) == 3


def test_the_words_at_the_trigger_stand_clear_of_the_curve():
    # Full at first, emptied, and filling again: words at the left would lie on the curve.
    levels = [950.0] * 3 + [60.0 + 40.0 * step for step in range(27)]
    points = tuple(
        CurvePoint(FIRST + dt.timedelta(days=30 * at), 0.85 * v, v, 1.2 * v)
        for at, v in enumerate(levels)
    )
    told = facts(points=points)
    plane, svg = plane_of(told, WIDE), forecast_chart(told)
    (words,) = [one for one in root_of(svg).iter() if (one.text or "").startswith("empty at")]
    left, y = float(words.get("x")), float(words.get("y"))
    over = [p for p in points if left <= plane.x(p.on) <= left + 100]
    assert over
    assert all(plane.y(p.high) > y or plane.y(p.low) < y - 12 for p in over)
