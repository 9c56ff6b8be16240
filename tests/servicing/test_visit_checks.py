"""What of a visit is impossible, and what is asked again."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from servicing.models import (
    System,
    Tank,
    Visit,
)
from servicing.visit_checks import most_depth_mm, refusals_of
from servicing.visit_facts import (
    DipFound,
    RemovalFound,
    VisitFound,
)
from tests.make import make_system

TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def system(db):
    return make_system(
        kind=System.Kind.SEPTIC_TANK,
        installed_on=dt.date(2010, 5, 1),
        tank={"outlet_height_mm": 1200},
    )


def found(**fields):
    return VisitFound(**{"visited_on": TODAY, "lid_back_on": True, **fields})


def refused_fields(system, visit, today=TODAY):
    return [one.field for one in refusals_of(system=system, found=visit, today=today)]


def test_a_visit_is_not_in_the_future(system):
    assert refused_fields(system, found(visited_on=TODAY + dt.timedelta(days=1))) == ["visited_on"]


def test_a_visit_is_not_before_the_installation(system):
    assert refused_fields(system, found(visited_on=dt.date(2010, 4, 30))) == ["visited_on"]


def test_a_crew_does_not_leave_before_it_arrives(system):
    nine, eight = (dt.datetime(2026, 11, 25, hour, tzinfo=dt.UTC) for hour in (9, 8))
    assert refused_fields(system, found(arrived_at=nine, left_at=eight)) == ["left_at"]


def test_work_does_not_close_with_the_cover_off(system):
    assert refused_fields(system, found(lid_back_on=False)) == ["lid_back_on"]
    assert refused_fields(system, found(lid_back_on=False, sure=True)) == ["lid_back_on"]


def test_a_locked_gate_closes_without_a_word_of_the_cover(system):
    locked = found(lid_back_on=False, abandoned_because=Visit.Abandoned.LOCKED_GATE)
    assert refused_fields(system, locked) == []


def test_a_cover_left_off_on_an_abandoned_job_is_asked_again(system):
    left = {"lid_back_on": False, "abandoned_because": Visit.Abandoned.LID_UNSAFE}
    assert refused_fields(system, found(**left)) == ["lid_back_on"]
    assert refused_fields(system, found(**left, sure=True)) == []


def test_a_job_that_took_something_out_is_not_abandoned(system):
    told = found(
        abandoned_because=Visit.Abandoned.TANKER_FULL, removal=RemovalFound(litres_removed=900)
    )
    assert refused_fields(system, told) == ["abandoned_because"]


def test_sludge_is_not_deeper_than_the_tank(system):
    tank = system.tanks.get()
    assert refused_fields(system, found(dips=(DipFound(tank=tank, sludge_mm=1200),))) == []
    deep = found(dips=(DipFound(tank=tank, sludge_mm=1201),), sure=True)
    assert refused_fields(system, deep) == ["dips[0].sludge_mm"]


def test_a_tank_backed_up_may_hold_more_than_to_its_outlet(system):
    dip = DipFound(tank=system.tanks.get(), sludge_mm=1250, liquid_level_mm=100)
    assert refused_fields(system, found(dips=(dip,))) == []


def test_sludge_and_scum_that_overlap_are_asked_again(system):
    dips = (DipFound(tank=system.tanks.get(), sludge_mm=900, scum_mm=400),)
    assert refused_fields(system, found(dips=dips)) == ["dips[0].scum_mm"]
    assert refused_fields(system, found(dips=dips, sure=True)) == []


def test_the_liquid_does_not_stand_below_the_floor(system):
    dip = DipFound(tank=system.tanks.get(), liquid_level_mm=-1300)
    assert refused_fields(system, found(dips=(dip,))) == ["dips[0].liquid_level_mm"]


def test_an_empty_reading_and_a_foreign_tank_are_refused(system):
    other = make_system(system.organisation).tanks.get()
    told = found(dips=(DipFound(tank=system.tanks.get()), DipFound(tank=other, sludge_mm=10)))
    assert refused_fields(system, told) == ["dips[0].sludge_mm", "dips[1].tank"]


@pytest.mark.parametrize(
    ("litres", "tanker", "asked"),
    [
        (2800, 9000, False),
        (3500, 9000, False),  # 1.25 of 2,800 L: common practice, no source
        (3501, 9000, True),
        (2800, 2500, True),
    ],
)
def test_more_than_tank_or_tanker_holds_is_asked_again(system, litres, tanker, asked):
    told = {"removal": RemovalFound(litres_removed=litres), "tanker_litres": tanker}
    assert bool(refused_fields(system, found(**told))) == asked
    assert refused_fields(system, found(**told, sure=True)) == []


def test_a_tank_emptied_right_out_in_saturated_ground_is_asked_about(system):
    # An empty tank floats in saturated ground: makers' installation instructions, common to all.
    def told(**removal):
        return found(ground=Visit.Ground.SATURATED, removal=RemovalFound(**removal))

    assert refused_fields(system, told()) == ["removal.refilled_with_water"]
    assert refused_fields(system, told(refilled_with_water=True)) == []
    assert refused_fields(system, told(all_compartments=False)) == []


@pytest.mark.parametrize("litres", [-1, 500_001])
def test_an_impossible_volume_cannot_be_confirmed(system, litres):
    told = found(removal=RemovalFound(litres_removed=litres), sure=True)
    assert refused_fields(system, told) == ["removal.litres_removed"]


def test_volumes_are_told_in_the_units_of_the_crew(system):
    system.organisation.units = "imperial_gallons"
    told = found(removal=RemovalFound(litres_removed=4546.09))
    texts = [
        one.text
        for one in refusals_of(system=system, found=told, today=TODAY, units="imperial_gallons")
    ]
    # 1,000 imperial gallons are 4,546.09 L: Weights and Measures Act 1985, Schedule 1.
    assert "1,000 gal out of a tank of 616 gal" in texts[0]


@given(outlet=st.integers(100, 3000), diameter=st.integers(100, 3500), level=st.integers(-500, 500))
def test_no_layer_may_be_deeper_than_what_holds_it(outlet, diameter, level):
    tank = Tank(shape=Tank.Shape.HORIZONTAL_CYLINDER, outlet_height_mm=outlet, diameter_mm=diameter)
    most = most_depth_mm(tank, level)
    assert outlet <= most <= max(outlet, diameter)
    assert most <= outlet + max(level, 0)
