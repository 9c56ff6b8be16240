"""Every fault is named with its field, and never becomes a number."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from servicing.forecasting.facts import (
    Ceiling,
    Dip,
    Emptying,
    Method,
    Override,
    Spell,
    Trigger,
)
from servicing.forecasting.faults import FaultyFacts
from servicing.forecasting.forecast import forecast_systems
from servicing.forecasting.tanks import Tank
from tests.servicing.forecasting.known import BOX, EMPTIED, TODAY, forecast, system

BROKEN = [
    ("emptyings", {"emptyings": ()}),
    ("emptyings", {"emptyings": (), "dips": (Dip(EMPTIED, litres=5, method=Method.BLANKET),)}),
    ("emptyings[0].on", {"emptyings": (Emptying(date(2023, 1, 1)),)}),
    ("emptyings[0].on", {"emptyings": (Emptying(date(1820, 1, 1)),)}),
    ("emptyings[1].on", {"emptyings": (Emptying(EMPTIED), Emptying(EMPTIED))}),
    ("emptyings[0].left_litres", {"emptyings": (Emptying(EMPTIED, left_litres=3000),)}),
    ("emptyings[0].left_share", {"emptyings": (Emptying(EMPTIED, left_share=-0.1),)}),
    ("emptyings[0].removed_litres", {"emptyings": (Emptying(EMPTIED, removed_litres=-1),)}),
    ("dips[0].on", {"dips": (Dip(date(2023, 1, 1), litres=5),)}),
    ("dips[0].on", {"dips": (Dip(date(2119, 1, 1), litres=5),)}),
    ("dips[0].on", {"installed_on": date(2019, 1, 1), "dips": (Dip(date(2018, 1, 1), litres=5),)}),
    ("dips[0].litres", {"dips": (Dip(EMPTIED, litres=float("nan")),)}),
    ("dips[0].litres", {"dips": (Dip(EMPTIED, litres=2721),)}),
    ("dips[0].sludge_mm", {"dips": (Dip(EMPTIED),)}),
    ("dips[0].compartment", {"dips": (Dip(EMPTIED, 300),)}),
    ("dips[0].sludge_mm", {"tank": Tank(compartments=(BOX,)), "dips": (Dip(EMPTIED, 1300),)}),
    ("dips[0].scum_mm", {"tank": Tank(compartments=(BOX,)), "dips": (Dip(EMPTIED, 5, -1),)}),
    ("accepted_risk", {"accepted_risk": 0.0}),
    ("year_over_price", {"year_over_price": -1.0}),
    ("bedrooms", {"bedrooms": 0}),
    ("backlog_litres_per_person", {"backlog_litres_per_person": float("nan")}),
    ("override.reason", {"override": Override(EMPTIED, "  ")}),
    ("ceilings[0].months", {"ceilings": (Ceiling(0, "law"),)}),
    ("occupancy[0].persons", {"occupancy": (Spell(EMPTIED, -2),)}),
    ("occupancy[0].starts", {"occupancy": (Spell(date(202, 1, 1), 2),)}),
    ("trigger.share", {"trigger": Trigger(share=1.5)}),
    ("trigger.sludge_clear_mm", {"tank": Tank(compartments=(BOX,)),
     "trigger": Trigger(sludge_clear_mm=1300)}),
]  # fmt: skip


@pytest.mark.parametrize(("field", "broken"), BROKEN)
def test_a_fault_is_named_with_its_field_and_never_becomes_a_number(field, broken):
    facts = replace(system(), **broken)
    with pytest.raises(FaultyFacts) as caught:
        forecast(facts)
    assert field in [fault.field for fault in caught.value.faults]
    many = forecast_systems([system(), facts], today=TODAY, by=(TODAY,))
    assert many.of(0).faults == ()
    assert many.of(1).state == "faulty"
    assert np.isnan([many.level_p50[1], many.over_by[1, 0], many.rate_p50[1]]).all()
    assert np.isnat([many.due_on[1], many.removal_p50[1]]).all()
