from dataclasses import replace
from datetime import date

from servicing.forecasting.explanations import explain
from servicing.forecasting.facts import Ceiling, Dip, Emptying, Kind, Override, Spell
from servicing.forecasting.forecast import forecast_system
from tests.servicing.forecasting.known import system

TODAY = date(2022, 6, 1)


def told(facts, before=None, **more):
    was = before and forecast_system(before, today=TODAY)
    return explain(facts, forecast_system(facts, today=TODAY), was, **more)


def test_the_due_date_comes_first_with_its_reason_and_the_likely_range():
    first = told(system())[0]
    assert first.startswith("Due by ")
    assert "more than we accept" in first
    assert "between" in first


def test_a_ceiling_a_measurement_and_an_override_say_so():
    assert "rules allow no longer" in told(system(ceilings=(Ceiling(12, "law"),)))[0]
    assert "measured over its limit" in told(system((date(2022, 5, 1), 950)))[0]
    override = system(override=Override(date(2023, 1, 1), "stood empty"))
    assert "wrote down why" in told(override)[0]


def test_people_are_counted_in_words():
    assert told(system())[1].startswith("Three people leave about 260 L of sludge and scum")
    assert told(system(persons=1))[1].startswith("One person leaves")
    assert told(system(persons=14))[1].startswith("14 people leave")
    assert told(system(persons=2.5))[1].startswith("Use like that of 2.5 people")


def test_an_empty_house_builds_up_nothing():
    first, second = told(system(persons=0))[:2]
    assert "sixty years" in first
    assert "nothing builds up" in second


def test_a_dip_lower_than_expected_moves_the_date_and_says_so():
    before = system()
    sentence = told(replace(before, dips=(Dip(date(2022, 5, 4), litres=300),)), before)[2]
    assert sentence.startswith("The measurement of 4 May 2022 was lower than expected")
    assert "moved from" in sentence


def test_a_dip_higher_than_expected_an_emptying_and_news_say_so():
    before = system((date(2021, 6, 1), 300))
    higher = replace(before, dips=(*before.dips, Dip(date(2022, 5, 4), litres=800)))
    assert "was higher than expected" in told(higher, before)[2]
    emptied = replace(before, emptyings=(*before.emptyings, Emptying(TODAY)))
    assert told(emptied, before)[2].startswith("It was emptied, so")
    news = system(occupancy=(Spell(date(1990, 1, 1), 3.0), Spell(date(2020, 6, 1), 6.0)))
    assert told(news, system())[2].startswith("What we know has changed, so")


def test_what_was_assumed_and_what_is_asked_comes_last():
    facts = replace(system((date(2021, 1, 1), 500), (date(2022, 1, 1), 5)), occupancy=())
    sentences = told(facts)
    assert any("much emptier" in sentence for sentence in sentences)
    assert "Nobody told us" in sentences[-1]


def test_readers_get_their_own_units_and_dates():
    sentences = told(system(), litres=lambda amount: f"{amount / 3.785:.0f} gal", day=str)
    assert "gal of sludge" in sentences[1]
    assert "Due by 20" in sentences[0]


def test_kitchens_and_cesspools_are_described_as_what_they_are():
    trap = replace(
        system(), kind=Kind.GREASE_TRAP,
        occupancy=(Spell(date(2000, 1, 1), use="restaurant", units=60),),
    )  # fmt: skip
    assert "grease" in told(trap)[1]
    cesspool = replace(system(volume=18000.0), kind=Kind.CESSPOOL)
    assert "sewage" in told(cesspool)[1]


def test_a_late_end_beyond_sixty_years_is_not_promised():
    first = told(system(persons=0.15))[0]
    assert "not likely to reach its limit before" in first


def test_a_date_that_did_not_move_is_not_mentioned():
    assert not any("moved from" in sentence for sentence in told(system(), system()))
