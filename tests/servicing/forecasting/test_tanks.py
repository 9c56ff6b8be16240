import pytest

from servicing.forecasting.faults import BadMeasure
from servicing.forecasting.geometry import HorizontalCylinder, rectangular
from servicing.forecasting.tanks import (
    Compartment,
    Tank,
    scum_mm_from_clear_space,
    sludge_mm_from_clear_space,
    solids_litres,
    trigger_litres,
)

DRUM = Compartment(HorizontalCylinder(1600, 2000), 1360)
BOX = Compartment(rectangular(2000, 1000, 1500), 1200)


def test_a_dip_counts_by_working_volume_and_not_by_the_shell():
    # Worked by hand from circular segments: D 1.60 m, outlet 1.36, sludge 0.50, scum 0.10 m.
    sludge, scum = solids_litres(Tank(compartments=(DRUM,)), 500, 100)
    volume = DRUM.working_volume_litres
    assert sludge / volume == pytest.approx(0.294708, abs=1e-6)
    assert scum / volume == pytest.approx(0.067551, abs=1e-6)


def test_the_plate_says_how_many_litres_and_the_shape_how_they_lie():
    tank = Tank(3000, (BOX,))
    sludge, scum = solids_litres(tank, 300, 120)
    assert (sludge, scum) == pytest.approx((750.0, 300.0))


def test_compartments_add_up():
    assert Tank(compartments=(BOX, DRUM)).volume_litres == pytest.approx(
        BOX.working_volume_litres + DRUM.working_volume_litres
    )


@pytest.mark.parametrize(
    ("field", "arguments"),
    [
        ("sludge_mm", (-1, 0)),
        ("sludge_mm", (float("nan"), 0)),
        ("scum_mm", (0, -5)),
        ("sludge_mm", (1100, 150)),
        ("compartment", (10, 0, 1)),
    ],
)
def test_an_impossible_dip_is_named(field, arguments):
    with pytest.raises(BadMeasure) as caught:
        solids_litres(Tank(compartments=(BOX,)), *arguments)
    assert caught.value.field == field


@pytest.mark.parametrize("volume", [0, -2700, float("nan"), float("inf"), 2e6])
def test_an_impossible_volume_is_named(volume):
    with pytest.raises(BadMeasure) as caught:
        Tank(volume)
    assert caught.value.field == "working_volume_litres"


def test_a_tank_of_which_nothing_is_known_is_refused():
    with pytest.raises(BadMeasure, match="missing"):
        Tank()


def test_an_outlet_above_the_top_is_refused():
    with pytest.raises(BadMeasure, match="above"):
        Compartment(rectangular(1000, 1000, 1000), 1200)


def test_clear_space_is_what_the_solids_leave_below_the_outlet():
    assert sludge_mm_from_clear_space(BOX, 305) == 895
    assert scum_mm_from_clear_space(BOX, 400, 76) == 324
    with pytest.raises(BadMeasure):
        sludge_mm_from_clear_space(BOX, 1300)
    with pytest.raises(BadMeasure):
        scum_mm_from_clear_space(BOX, 400, 401)
    with pytest.raises(BadMeasure):
        scum_mm_from_clear_space(BOX, 1300, 76)


def test_clearance_triggers_are_the_earliest_of_sludge_and_scum():
    # Minn. R. 7080.2450: 12 in (305 mm) of clear space below, 3 in (76 mm) above; box 2 m2.
    tank = Tank(compartments=(BOX,))
    sludge_limit = (1200 - 305) * 2 / 0.73
    scum_limit = (400 - 76) * 2 / 0.27
    both = trigger_litres(tank, share=None, sludge_clear_mm=305, scum_clear_mm=76, scum_share=0.27)
    assert both == pytest.approx(min(sludge_limit, scum_limit))
    quarter = trigger_litres(
        tank, share=0.25, sludge_clear_mm=305, scum_clear_mm=76, scum_share=0.27
    )
    assert quarter == pytest.approx(0.25 * 2400)


def test_a_trigger_that_cannot_be_used_is_refused():
    with pytest.raises(BadMeasure, match="dimensions"):
        trigger_litres(Tank(2700), share=None, sludge_clear_mm=305, scum_share=0.27)
    with pytest.raises(BadMeasure, match="between 0 and 1"):
        trigger_litres(Tank(2700), share=1.2, scum_share=0.27)
    with pytest.raises(BadMeasure, match="no room"):
        trigger_litres(Tank(compartments=(BOX,)), share=None, sludge_clear_mm=1300, scum_share=0.27)
