"""Whole forecasts: laws that must always hold, faults by name, kinds of system."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.columns import columns_of, row_of
from servicing.forecasting.facts import (
    Ceiling,
    Dip,
    Emptying,
    Kind,
    Method,
    Spell,
    SystemFacts,
    Trigger,
)
from servicing.forecasting.forecast import forecast_system, forecast_systems
from servicing.forecasting.learning import learn
from servicing.forecasting.removal_date import first_passage
from servicing.forecasting.tanks import Tank
from tests.servicing.forecasting.known import BOX, EMPTIED, TODAY, dated, forecast, system


def test_chances_rise_with_time_and_agree_with_the_likely_dates():
    first = forecast(system((date(2021, 9, 1), 420)))
    by = (first.removal_p10, first.removal_p50, first.removal_p90)
    again = forecast(system((date(2021, 9, 1), 420)), by=by)
    assert again.over_by == pytest.approx((0.1, 0.5, 0.9), abs=0.005)


def test_many_systems_at_once_say_what_each_says_alone():
    facts = [
        replace(system((date(2021, 9, 1), 40.0 * n), persons=n), reference=f"S{n}")
        for n in range(1, 8)
    ]
    together = forecast_systems(facts, today=TODAY, by=(date(2024, 1, 1),))
    for place, one in enumerate(facts):
        alone = forecast_system(one, today=TODAY, by=(date(2024, 1, 1),), curve_points=0)
        assert together.of(place) == alone


def test_a_dip_over_the_trigger_is_due_when_it_was_taken():
    found = forecast(system((date(2021, 9, 1), 1000)))
    assert (found.state, found.binding_rule) == ("over", "measured_over")
    assert found.due_on == date(2021, 9, 1)
    assert found.over_now == 1.0


def test_an_emptying_after_the_dip_starts_again_and_keeps_what_was_learned():
    facts = system((date(2021, 9, 1), 880), emptyings=(Emptying(EMPTIED), Emptying(TODAY)))
    found, plain = forecast(facts), forecast(system(emptyings=(Emptying(TODAY),)))
    assert found.since == TODAY
    assert found.rate_p50 > plain.rate_p50 * 1.5
    assert found.level_p50 == pytest.approx(0.05 * 2720, rel=0.05)


def test_sludge_left_behind_brings_the_date_nearer():
    half = replace(system(), emptyings=(Emptying(EMPTIED, left_share=0.2),))
    assert dated(half) < dated(system())
    litres = replace(system(), emptyings=(Emptying(EMPTIED, left_litres=544),))
    assert dated(half) == dated(litres)


def test_a_dip_on_the_day_of_an_emptying_was_taken_before_it():
    before = system(emptyings=(Emptying(EMPTIED), Emptying(TODAY)))
    dip = Dip(TODAY, litres=700)
    assert forecast(replace(before, dips=(dip,))).state == "forecast"
    left = forecast(replace(before, dips=(replace(dip, after_emptying=True),)))
    assert left.level_p50 > 400


def test_pumped_volumes_and_blanket_readings_never_teach_the_rate():
    # Sircilla 2021: tanker 1.8, core 1, blanket 0.32 for the same tanks.
    for method in (Method.TANKER_VOLUME, Method.BLANKET):
        facts = replace(system(), dips=(Dip(date(2021, 9, 1), litres=890, method=method),))
        found = forecast(facts)
        assert found.rate_p50 == forecast(system()).rate_p50
        assert "kind_not_used" in [a.code for a in found.assumptions]
    removed = replace(system(), emptyings=(Emptying(EMPTIED, removed_litres=2700),))
    assert dated(removed) == dated(system())


def test_depths_and_litres_of_the_same_dip_say_the_same():
    tank = Tank(compartments=(BOX,))
    depths = replace(system(), tank=tank, dips=(Dip(date(2021, 9, 1), 150, 60),))
    same = replace(system(), tank=tank, dips=(Dip(date(2021, 9, 1), litres=210 * 2.266667),))
    assert dated(depths) == dated(same)


def test_repeat_dips_of_one_day_are_one_dip_read_more_surely():
    day = date(2021, 9, 1)
    once = forecast(system((day, 420)))
    thrice = forecast(system((day, 400), (day, 420), (day, 440)))
    assert thrice.level_p50 == pytest.approx(once.level_p50, rel=0.02)
    assert thrice.level_p90 - thrice.level_p10 < once.level_p90 - once.level_p10


def test_compartments_not_measured_are_taken_to_be_as_full():
    tank = Tank(compartments=(BOX, BOX))
    facts = replace(system(), tank=tank, dips=(Dip(date(2021, 9, 1), 100, 50),))
    found = forecast(facts)
    assert "compartment_not_measured" in [a.code for a in found.assumptions]
    both = replace(facts, dips=(*facts.dips, Dip(date(2021, 9, 1), 100, 50, compartment=1)))
    measured = forecast(both)
    assert measured.level_p50 == pytest.approx(found.level_p50, rel=0.01)
    assert measured.level_p90 - measured.level_p10 < found.level_p90 - found.level_p10


def test_scum_not_measured_widens_and_none_of_it_does_not():
    box = Tank(compartments=(BOX,))
    dips = [Dip(TODAY, 400, 148), Dip(TODAY, 400), Dip(TODAY, 400, 0)]
    found = [forecast(replace(system(), tank=box, dips=(dip,))) for dip in dips]
    measured, assumed, none = (one.level_p90 - one.level_p10 for one in found)
    assert assumed > 1.2 * measured
    assert none < measured
    assert found[1].level_p50 > 1.1 * found[2].level_p50  # 27 % of the solids, not none


def test_an_emptying_in_part_lowers_the_level_and_starts_no_interval_anew():
    law = (Ceiling(60, "law"),)
    part = Emptying(date(2021, 9, 1), left_litres=500, in_part=True)
    found = forecast(replace(system(emptyings=(Emptying(EMPTIED), part)), ceilings=law))
    whole = replace(part, in_part=False)
    anew = forecast(replace(system(emptyings=(Emptying(EMPTIED), whole)), ceilings=law))
    assert (found.since, anew.since) == (EMPTIED, part.on)
    assert found.level_p50 == anew.level_p50 < forecast(system()).level_p50 + 500


def test_an_emptying_in_part_of_which_nobody_says_what_stayed_is_not_reckoned_with():
    part = Emptying(date(2021, 9, 1), in_part=True)
    found = forecast(system(emptyings=(Emptying(EMPTIED), part)))
    assert found.level_p50 == forecast(system()).level_p50
    assert "left_unknown" in [one.code for one in found.assumptions]
    alone = forecast_systems([system(emptyings=(part,))], today=TODAY)
    assert [fault.code for fault in alone.faults[0]] == ["no_start"]
    after = (Dip(part.on, litres=700, after_emptying=True),)
    dipped = forecast(replace(system(emptyings=(Emptying(EMPTIED), part)), dips=after))
    assert "left_unknown" not in [one.code for one in dipped.assumptions]


def test_scum_not_measured_is_an_assumption():
    facts = replace(system(), tank=Tank(compartments=(BOX,)), dips=(Dip(date(2021, 9, 1), 150),))
    assert "scum_unknown" in [a.code for a in forecast(facts).assumptions]


def test_clear_space_triggers_use_the_shape_and_fall_back_with_a_word():
    rule = Trigger(sludge_clear_mm=305, scum_clear_mm=76)
    shaped = forecast(replace(system(), tank=Tank(compartments=(BOX,)), trigger=rule))
    assert shaped.trigger_litres == pytest.approx(min(895 / 0.73, 324 / 0.27) * 2.2667, rel=1e-3)
    plain = forecast(replace(system(), trigger=rule))
    assert plain.trigger_litres == pytest.approx(2720 / 3)
    assert "trigger_by_share" in [a.code for a in plain.assumptions]


def test_a_cesspool_fills_by_the_day_and_learns_from_its_level():
    # AD H2: 18 000 L for two; British Water 150 L/person/day: 90 % after 54 days.
    cesspool = SystemFacts(
        "C", Tank(18000), Kind.CESSPOOL, emptyings=(Emptying(date(2022, 5, 1)),),
        occupancy=(Spell(date(2000, 1, 1), 2),),
    )  # fmt: skip
    found = forecast(cesspool)
    assert (found.removal_p50 - date(2022, 5, 1)).days == pytest.approx(54, abs=2)
    slow = replace(cesspool, dips=(Dip(date(2022, 5, 31), litres=4500),))
    assert 75 < (forecast(slow).removal_p50 - date(2022, 5, 1)).days < 108


def test_a_grease_trap_falls_due_at_a_quarter():
    # 310 CMR 15.351: cleaned at 25 %.
    trap = SystemFacts(
        "G", Tank(400), Kind.GREASE_TRAP, emptyings=(Emptying(date(2022, 5, 1)),),
        occupancy=(Spell(date(2000, 1, 1), use="restaurant", units=60),),
        ceilings=(Ceiling(3, "law"),),
    )  # fmt: skip
    found = forecast(trap)
    assert found.trigger_litres == 100
    assert found.due_on < date(2022, 8, 1)


def test_a_package_plant_falls_due_at_three_tenths_of_its_settler():
    # arrete of 7 September 2009 (second-hand): 30 % for package plants.
    assert forecast(replace(system(), kind=Kind.PACKAGE_PLANT)).trigger_litres == 816


def test_a_summer_let_never_falls_due_in_winter():
    let = replace(system(), occupancy=(Spell(date(2010, 1, 1), 8, season=(6, 9)),))
    for risk in np.linspace(0.05, 0.6, 12):
        due = forecast(replace(let, accepted_risk=float(risk)), curve_points=0).due_on
        assert 6 <= due.month <= 9 or due.day == 1


def test_an_empty_house_is_never_due_but_for_its_ceiling():
    empty = system(persons=0)
    assert dated(empty) == [None, None, None, None]
    assert forecast(empty).binding_rule == "horizon"
    law = replace(empty, ceilings=(Ceiling(12, "law"),))
    assert forecast(law).due_on == date(2021, 1, 1)


def test_a_tank_never_emptied_counts_from_its_installation_and_says_so():
    facts = replace(system(), emptyings=(), installed_on=EMPTIED)
    found = forecast(facts)
    assert found.since == EMPTIED
    assert "never_emptied" in [a.code for a in found.assumptions]


def test_a_tank_known_only_by_a_dip_starts_from_it_and_says_so():
    facts = replace(system((date(2022, 1, 1), 600)), emptyings=())
    found = forecast(facts)
    assert found.since == date(2022, 1, 1)
    assert "starts_at_dip" in [a.code for a in found.assumptions]
    assert found.level_p50 > 600


def test_a_dip_that_cannot_be_is_asked_about_and_does_not_put_the_date_off():
    dips = ((date(2021, 1, 1), 500), (date(2022, 1, 1), 5))
    found = forecast(system(*dips))
    assert [(q.code, q.on) for q in found.questions] == [("much_emptier", date(2022, 1, 1))]
    assert "leaks" in " ".join(found.questions[0].choices)
    assert forecast(system((date(2021, 1, 1), 200), (date(2022, 1, 1), 330))).questions == ()


def test_a_dip_far_too_full_is_believed_at_once_and_asked_about():
    found = forecast(system((date(2020, 3, 1), 895)))
    assert [q.code for q in found.questions] == ["much_fuller"]
    assert found.due_on < date(2020, 8, 1)


def test_a_leap_day_is_a_day_like_any_other():
    facts = replace(system((date(2024, 2, 29), 300)), emptyings=(Emptying(date(2020, 2, 29)),))
    found = forecast_system(facts, today=date(2024, 2, 29), curve_points=5)
    assert found.since == date(2020, 2, 29)
    assert found.curve.on[0] == date(2020, 2, 29)


def test_the_curve_rises_from_the_last_emptying_past_the_due_date():
    found = forecast(system((date(2021, 9, 1), 420)), curve_points=40)
    curve = found.curve
    assert curve.on[0] == EMPTIED
    assert curve.on[-1] > found.due_on
    assert all(np.all(np.diff(line) >= 0) for line in (curve.p10, curve.p50, curve.p90))
    assert all(a <= b <= c for a, b, c in zip(curve.p10, curve.p50, curve.p90, strict=True))


def test_the_published_worked_example_gives_43_months_on_its_straight_line():
    # US extension text: 8-9 in of 48 in, 18 % after 26 months, limit 30 %: 43 months. Its line
    # is straight and starts from an empty tank; so must ours here.
    facts = system(
        (date(2022, 3, 2), 0.18 * 2720),
        trigger=Trigger(share=0.30),
        emptyings=(Emptying(EMPTIED, left_litres=0),),
    )
    columns = columns_of([row_of(facts, BOOK_PRIOR)])
    columns = replace(columns, exponents=np.ones((1, 3)))
    passage = first_passage(columns, learn(columns))
    months = (passage.quantile(np.array([0.5])) - columns.event_time[:, 0]) * 12
    assert months[0] == pytest.approx(43.3, rel=0.06)
    assert forecast(facts).due_on < EMPTIED + timedelta(days=43 * 365.25 / 12)


def test_people_unknown_before_the_first_record_are_an_assumption():
    facts = system(occupancy=(Spell(date(2021, 5, 1), 3.0),))
    found = forecast(facts)
    assert [a.code for a in found.assumptions] == ["earlier_occupancy"]
    assert found.due_on == forecast(system()).due_on


def test_a_closed_kitchen_keeps_what_its_busy_years_were_like():
    trap = SystemFacts(
        "G", Tank(400), Kind.GREASE_TRAP, emptyings=(Emptying(date(2022, 3, 1)),),
        occupancy=(
            Spell(date(2000, 1, 1), use="restaurant", units=60),
            Spell(date(2022, 3, 20), use="restaurant", units=0),
        ),
    )  # fmt: skip
    found = forecast(trap)
    assert 15 < found.level_p50 < 100
    assert found.persons_now == 0


def test_a_summer_let_and_a_home_can_be_forecast_side_by_side():
    let = system(occupancy=(Spell(date(2010, 1, 1), 8.0, season=(6, 9)),))
    together = forecast_systems([let, system()], today=TODAY)
    assert len(together) == 2
    assert together.of(1).due_on == forecast(system()).due_on


def test_a_price_of_trouble_sets_the_date_that_costs_least():
    cheap, dear = (forecast(system(year_over_price=price)) for price in (1.0, 30.0))
    assert dear.due_on < cheap.due_on
    assert cheap.binding_rule == "cost"
    assert forecast(system(year_over_price=30.0, ceilings=(Ceiling(6, "law"),))).binding_rule == (
        "ceiling_law"
    )


def test_systems_with_and_without_a_price_stand_side_by_side():
    priced, plain = system(year_over_price=8.0), system()
    together = forecast_systems([plain, priced], today=TODAY)
    assert together.of(0).due_on == forecast(plain).due_on
    assert together.of(1).due_on == forecast(priced).due_on
