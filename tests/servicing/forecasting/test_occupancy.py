from dataclasses import replace
from datetime import date

import pytest

from servicing.forecasting.facts import Spell
from servicing.forecasting.occupancy import (
    MISREPORTED_LOG_SD,
    UNKNOWN_LOG_SD,
    equivalents_of,
    household_by_bedrooms,
    occupancy_faults,
    person_equivalents,
)

HOME = Spell(date(2015, 1, 1), 4)


def test_a_resident_all_year_is_one_person():
    assert equivalents_of(HOME, None) == pytest.approx(4.0)


def test_half_the_weeks_are_half_the_persons():
    assert equivalents_of(replace(HOME, weeks_per_year=26), None) == pytest.approx(2.0)


def test_guests_count_by_their_nights():
    spell = replace(HOME, persons=0, guests_person_nights=365.25)
    assert equivalents_of(spell, None) == pytest.approx(1.0)


def test_a_kitchen_grinder_counts_half_as_much_again():
    # US extension text and TM 5-814-8 (garbage multiplies BOD by 1.5).
    assert equivalents_of(replace(HOME, grinder=True), None) == pytest.approx(6.0)


def test_a_pub_kitchen_counts_a_tenth_of_a_person_for_each_meal():
    # ABNT NBR 7229:1993 Table 1: restaurant, 0.1 per meal.
    assert equivalents_of(Spell(date(2015, 1, 1), use="restaurant", units=80), None) == (
        pytest.approx(8.0)
    )


def test_a_season_limits_the_weeks_and_may_pass_new_year():
    summer = replace(HOME, season=(6, 9))
    winter = replace(HOME, season=(11, 2))
    assert equivalents_of(summer, None) == pytest.approx(4 / 3)
    assert equivalents_of(winter, None) == pytest.approx(4 / 3)


def test_unknown_persons_come_from_the_bedrooms_with_a_wide_spread():
    found = person_equivalents([Spell(date(2015, 1, 1))], 4)
    assert found.persons == pytest.approx((household_by_bedrooms(4),))
    assert found.log_sd == UNKNOWN_LOG_SD
    assert [a.code for a in found.assumptions] == ["persons_unknown"]
    assert "4 bedrooms" in found.assumptions[0].text


def test_no_occupancy_at_all_is_an_assumption_and_not_a_silent_number():
    found = person_equivalents([], None)
    assert found.assumptions[0].field == "occupancy"


def test_known_persons_still_carry_the_usual_misreporting():
    assert person_equivalents([HOME], None).log_sd == MISREPORTED_LOG_SD


def test_more_bedrooms_never_mean_fewer_persons():
    persons = [household_by_bedrooms(rooms) for rooms in range(1, 9)]
    assert persons == sorted(persons)


@pytest.mark.parametrize(
    ("spells", "field", "code"),
    [
        ([replace(HOME, persons=-1)], "occupancy[0].persons", "out_of_range"),
        ([replace(HOME, persons=float("nan"))], "occupancy[0].persons", "out_of_range"),
        ([replace(HOME, weeks_per_year=60)], "occupancy[0].weeks_per_year", "out_of_range"),
        ([replace(HOME, guests_person_nights=-2)], "occupancy[0].guests_person_nights",
         "out_of_range"),
        ([replace(HOME, use="circus")], "occupancy[0].use", "unknown_use"),
        ([replace(HOME, season=(0, 13))], "occupancy[0].season", "out_of_range"),
        ([replace(HOME, ends=date(2014, 1, 1))], "occupancy[0].ends", "ends_before_start"),
        ([HOME, HOME], "occupancy[1].starts", "overlap"),
        ([replace(HOME, ends=date(2018, 1, 1)), replace(HOME, starts=date(2017, 1, 1))],
         "occupancy[1].starts", "overlap"),
        ([replace(HOME, ends=date(2018, 1, 1)), replace(HOME, starts=date(2018, 1, 3))],
         "occupancy[1].starts", "gap"),
    ],
)  # fmt: skip
def test_every_fault_is_named_with_its_field(spells, field, code):
    assert [(f.field, f.code) for f in occupancy_faults("S1", spells)] == [(field, code)]


def test_spells_that_meet_are_no_fault_even_on_a_leap_day():
    spells = [replace(HOME, ends=date(2020, 2, 29)), replace(HOME, starts=date(2020, 3, 1))]
    assert occupancy_faults("S1", spells) == []


def test_a_grinder_makes_the_number_of_persons_less_sure():
    grinding = person_equivalents([replace(HOME, grinder=True)], None)
    assert grinding.log_sd == pytest.approx((MISREPORTED_LOG_SD**2 + 0.2**2) ** 0.5)
