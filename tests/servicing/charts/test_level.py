"""The level picture says in words and marks what the figures are."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from servicing.charts import PRINT, LevelFacts, level_picture
from servicing.charts.level import BOTTOM, OUTLET_DROP, TOP, layers, staff_y

SVG = "{http://www.w3.org/2000/svg}"
DEPTH = BOTTOM - TOP - OUTLET_DROP


def root_of(svg):
    return ET.fromstring(svg)  # noqa: S314 - text of our own making


def facts(**fields):
    known = {"working_volume": 3000.0, "low": 600.0, "likely": 900.0, "high": 1200.0}
    return LevelFacts(**{"shape": "rectangular", "trigger": 1000.0, **known, **fields})


def marks(svg, kind):
    return [one for one in root_of(svg).iter() if one.get("class") == f"c-{kind}"]


def test_sludge_stands_as_high_as_its_share():
    (sludge,) = marks(level_picture(facts()), "sludge")
    assert float(sludge.get("height")) == pytest.approx(0.3 * DEPTH, abs=0.06)
    assert float(sludge.get("y")) + float(sludge.get("height")) == pytest.approx(BOTTOM, abs=0.1)


def test_scum_floats_at_the_outlet():
    (scum,) = marks(level_picture(facts(scum_share=0.25)), "scum")
    assert float(scum.get("y")) == pytest.approx(TOP + OUTLET_DROP, abs=0.1)
    assert float(scum.get("height")) == pytest.approx(0.075 * DEPTH, abs=0.06)


def test_sludge_and_scum_never_overlap():
    found = layers(facts(shape="sphere", likely=2950.0, scum_share=0.6))
    assert found[0][2] <= found[1][1]


def test_the_staff_marks_range_and_trigger():
    svg = level_picture(facts())
    band = next(one for one in marks(svg, "band"))
    trigger = next(one for one in marks(svg, "trigger"))
    assert float(band.get("height")) == pytest.approx(0.2 * DEPTH, abs=0.1)
    assert float(trigger.get("y1")) == pytest.approx(staff_y(1 / 3), abs=0.06)


def test_it_says_in_words_what_it_shows():
    root = root_of(level_picture(facts(), key="k"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "k-title k-desc"
    said = root.find(f"{SVG}desc").text
    assert said == (
        "Likely 900 L of sludge and scum, between 600 L and 1,200 L, in 3,000 L below the outlet, "
        "to be emptied at 1,000 L."
    )


def test_an_unknown_level_draws_no_sludge():
    svg = level_picture(facts(low=None, likely=None, high=None))
    assert not marks(svg, "sludge")
    assert "The level is not known" in svg


def test_an_overfull_tank_stays_inside_its_wall():
    (sludge,) = marks(level_picture(facts(likely=9000.0)), "sludge")
    assert float(sludge.get("height")) == pytest.approx(DEPTH, abs=0.1)


def test_figures_come_in_the_readers_own_unit():
    svg = level_picture(facts(say=lambda litres: f"{litres / 4.54609:.0f} gal"))
    assert "220 gal" in svg  # 1,000 L
    assert " L<" not in svg


@pytest.mark.parametrize("shape", ["sphere", "upright_cylinder", "strapping", "unknown"])
def test_every_shape_is_drawn_without_styles(shape):
    svg = level_picture(facts(shape=shape))
    assert "style=" not in svg
    assert root_of(svg).tag == f"{SVG}svg"


def test_on_paper_colours_are_attributes():
    svg = level_picture(facts(), palette=PRINT)
    assert "class=" not in svg
    assert 'fill="#bfdfe0"' in svg


def test_words_from_outside_are_escaped():
    svg = level_picture(facts(say=lambda litres: "<script>&"))
    assert "<script>" not in svg
    assert root_of(svg) is not None


def test_the_same_facts_give_the_same_bytes():
    assert level_picture(facts()) == level_picture(facts())


def test_a_sealed_tank_holds_sewage_under_room_and_has_no_outlet():
    svg = level_picture(facts(sealed=True))
    said = [one.text for one in root_of(svg).iter(f"{SVG}text")]
    assert "sewage" in said
    assert "room left" in said
    assert "out" not in said
    assert not marks(svg, "water")
    assert "of sewage" in root_of(svg).find(f"{SVG}desc").text


@pytest.mark.parametrize("likely", [820.0, 900.0, 1040.0, 1200.0])
def test_the_figure_of_today_does_not_touch_that_of_the_trigger(likely):
    svg = level_picture(facts(likely=likely, working_volume=2800.0, trigger=933.0))
    texts = [one for one in root_of(svg).iter(f"{SVG}text") if float(one.get("x")) > 320]
    at = {one.text: (float(one.get("y")), float(one.get("font-size"))) for one in texts}
    y, size = at.pop(f"{likely:,.0f} L")
    for other, high in at.values():
        assert y + 3 <= other - high * 0.8 or y - size * 0.8 >= other + 3
