"""Readings that may be true but want a second look: beside the tank, beside the time before."""

import datetime as dt

import pytest

from servicing.dip_readings import dip_read
from servicing.models import Dip, Emptying, System, Visit
from servicing.visit_checks import refusals_of
from servicing.visit_facts import DipFound, VisitFound
from tests.make import make_system

TODAY = dt.date(2026, 11, 25)
SPRING = dt.date(2026, 3, 2)


@pytest.fixture
def system(db):
    heights = {"outlet_height_mm": 1200, "cover_above_floor_mm": 1900}
    return make_system(installed_on=dt.date(2010, 5, 1), tank=heights)


def seen(system, day, sludge, **fields):
    visit = Visit.objects.create(
        organisation=system.organisation, system=system, visited_on=day, lid_back_on=True
    )
    Dip.objects.create(visit=visit, tank=system.tanks.get(), sludge_mm=sludge, **fields)
    return visit


def odd(system, dip, *, sure=False):
    told = VisitFound(visited_on=TODAY, lid_back_on=True, dips=(dip,), sure=sure)
    return [
        (one.field, one.can_be_confirmed)
        for one in refusals_of(system=system, found=told, today=TODAY)
    ]


def found(system, **fields):
    return DipFound(tank=system.tanks.get(), **fields)


def test_less_sludge_than_last_time_is_asked_about_once(system):
    seen(system, SPRING, 420)
    less = found(system, sludge_mm=250)
    assert odd(system, less) == [("dips[0].sludge_mm", True)]
    assert odd(system, less, sure=True) == []


@pytest.mark.parametrize("sludge", [340, 420, 700])
def test_as_much_or_nearly_as_much_is_no_surprise(system, sludge):
    seen(system, SPRING, 420)
    assert odd(system, found(system, sludge_mm=sludge)) == []


def test_less_after_an_emptying_is_no_surprise(system):
    visit = seen(system, SPRING, 420)
    Emptying.objects.create(visit=visit, litres_removed=2800)
    assert odd(system, found(system, sludge_mm=90)) == []


def test_less_after_somebody_else_emptied_it_is_no_surprise(system):
    seen(system, SPRING, 420)
    system.last_emptied_on = dt.date(2026, 8, 1)
    assert odd(system, found(system, sludge_mm=90)) == [("dips[0].sludge_mm", True)]
    system.save()
    assert odd(system, found(system, sludge_mm=90)) == []


def test_a_guess_by_eye_is_no_measure_for_the_next(system):
    seen(system, SPRING, 420, method=Dip.Method.ESTIMATE)
    assert odd(system, found(system, sludge_mm=90)) == []


def test_a_tank_that_stands_below_its_outlet_may_leak(system):
    low = found(system, liquid_level_mm=-180)
    assert odd(system, low) == [("dips[0].liquid_level_mm", True)]
    assert odd(system, found(system, liquid_level_mm=-40)) == []


def test_a_tank_emptied_last_week_is_still_filling(system):
    system.last_emptied_on = dt.date(2026, 11, 18)
    assert odd(system, found(system, liquid_level_mm=-600)) == []


def test_a_cesspool_has_no_outlet_to_stand_at(db):
    pit = make_system(kind=System.Kind.CESSPOOL, tank={"outlet_height_mm": 2000})
    assert odd(pit, found(pit, liquid_level_mm=-600)) == []


def test_a_liquid_above_the_cover_cannot_be(system):
    assert odd(system, found(system, liquid_level_mm=750)) == [("dips[0].liquid_level_mm", False)]


def test_a_stick_that_stops_short_of_the_floor_stands_on_sludge(system):
    figures = {"down_floor": 1700, "down_sludge": 1500}
    dip = dip_read(tank=system.tanks.get(), way="cover", figures=figures)
    assert odd(system, dip) == [("dips[0].down_floor", True)]


def test_sludge_read_from_the_cover_is_no_deeper_than_the_tank(system):
    dip = dip_read(tank=system.tanks.get(), way="cover", figures={"down_sludge": 500})
    assert odd(system, dip) == [("dips[0].sludge_mm", False)]
