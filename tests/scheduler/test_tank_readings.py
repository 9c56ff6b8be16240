"""The telephone turns figures into depths as the server does, and draws them. In a real browser."""

import random

import pytest
from django.urls import reverse
from django.utils import timezone

from servicing.dip_readings import heights_of
from servicing.forecasting.geometry import (
    HorizontalCylinder,
    Sphere,
    rectangular,
    upright_cylinder,
)
from servicing.forecasts import depth_table
from servicing.readings import FIGURES, NOT_READ, ReadingRefused, depths_of
from servicing.tank_drawings import drawing_of
from tests.journeys.browser import PATIENCE_MS, PHONE, let_in, listen, open_browser
from tests.make import make_job, make_system, make_user

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]
SHAPES = (
    {"shape": "horizontal_cylinder", "diameter_mm": 1500, "length_mm": 2400},
    {"shape": "rectangular", "length_mm": 2000, "width_mm": 1200},
    {"shape": "sphere", "diameter_mm": 2000},
    {"shape": "upright_cylinder", "diameter_mm": 1600},
)
KNOWN = {"outlet_height_mm": 1200, "outlet_dip_pipe_mm": 400, "cover_above_floor_mm": 1900}
SAME = "asked => asked.map(one => globalThis.tankReadings.depthsOf(...one))"
LITRES = "asked => asked.map(one => globalThis.tankReadings.litresOf(...one))"


@pytest.fixture
def job(transactional_db):
    system = make_system(tank={**SHAPES[0], **KNOWN})
    return make_job(system, due_on=timezone.now().date())


@pytest.fixture
def page(job, live_server, monkeypatch):
    """Tess's telephone with the sheet of the job open; whatever goes wrong on it fails the test."""
    faults: list[str] = []
    with open_browser(monkeypatch) as browser:
        context = browser.new_context(base_url=live_server.url, viewport=PHONE)
        let_in(context, make_user(job.organisation, "crew", name="Tess"), live_server.url)
        sheet = context.new_page()
        sheet.set_default_timeout(PATIENCE_MS)
        listen(sheet, faults)
        sheet.goto(reverse("scheduler:job_sheet", args=[job.public_id]))
        yield sheet
    assert not faults


def cases():
    """Figures in every way, in and out of order, with some left out: the same on every run."""
    dice = random.Random(7)
    for way, names in FIGURES.items():
        for _ in range(120):
            told = {name: dice.choice((None, 0, *range(-40, 2100, 35))) for name in names}
            for name in set(told) & {"notch_sludge", "notch_scum"}:
                told[name] = dice.choice((None, 0, 1, 2.5, 7, 11.5))
            if "notch_mm" in told:
                told["notch_mm"] = dice.choice((None, 25, 40, 50))
            yield way, told


def by_server(way, figures, tank):
    try:
        found = depths_of(way, figures, heights_of(tank))
    except ReadingRefused as refused:
        return {"figure": refused.figure, "text": refused.text}
    return {"sludge": found.sludge_mm, "scum": found.scum_mm, "level": found.liquid_level_mm}


def test_the_telephone_turns_figures_as_the_server_does(page, job):
    tanks = [job.system.tanks.get(), *(make_system(tank={}).tanks.all())]
    told = [(tank, way, figures) for tank in tanks for way, figures in cases()]
    drawn = {tank.pk: {**drawing_of(tank, "litres"), "table": []} for tank in tanks}
    asked = [(way, figures, drawn[tank.pk]) for tank, way, figures in told]
    assert len(asked) == 2 * len(FIGURES) * 120
    for (tank, way, figures), said in zip(told, page.evaluate(SAME, asked), strict=True):
        assert said == by_server(way, figures, tank), (way, figures)


EXACT = {
    "horizontal_cylinder": HorizontalCylinder(1500, 2400),
    "rectangular": rectangular(2000, 1200, 1200),
    "sphere": Sphere(2000),
    "upright_cylinder": upright_cylinder(1600, 1200),
}
LEVELS = ((0, 0), (310, 60), (555, 0), (0, 133), (900, 300), (17, 3))


def test_litres_agree_with_the_exact_geometry(page):
    for shape in SHAPES:
        exact = EXACT[shape["shape"]]
        tank = make_system(tank={**shape, **KNOWN, "working_volume_litres": None}).tanks.get()
        drawn, whole = drawing_of(tank, "litres"), float(exact.litres_below(1200))
        asked = [({"sludge": sludge, "scum": scum}, drawn) for sludge, scum in LEVELS]
        for (sludge, scum), said in zip(LEVELS, page.evaluate(LITRES, asked), strict=True):
            clear = float(exact.litres_below(1200 - scum)) - float(exact.litres_below(sludge))
            assert said["solids"] == pytest.approx(whole - clear, abs=0.005 * whole)
            assert said["all"] == pytest.approx(whole, abs=0.2)


def test_the_tank_is_drawn_and_told_as_figures_are_typed(page, job):
    tank = f"tank-{job.system.tanks.get().pk}"
    page.select_option(f"[name={tank}-way]", "cover")
    assert page.is_hidden(f"[name={tank}-sludge_mm]")
    page.fill(f"[name={tank}-down_liquid]", "700")
    page.fill(f"[name={tank}-down_sludge]", "1480")
    words = page.locator("[data-tank-words]")
    words.filter(has_text="Sludge 420 mm, liquid at the outlet").wait_for()
    assert words.get_attribute("aria-live") == "polite"
    assert page.locator("[data-tank-drawing] rect.c-sludge").bounding_box()["height"] > 20
    page.fill(f"[name={tank}-down_sludge]", "1980")
    words.filter(has_text="Look again: The floor is 1,900 mm down").wait_for()


def test_the_names_of_the_figures_are_those_of_the_fields(page, job):
    tank = f"tank-{job.system.tanks.get().pk}"
    names = {name for figures in FIGURES.values() for name in figures}
    missing = [name for name in names if not page.locator(f"[name={tank}-{name}]").count()]
    assert missing == []
    assert names > NOT_READ


def test_a_tank_nobody_measured_has_no_table(transactional_db):
    assert depth_table(make_system().tanks.get()) == ()
