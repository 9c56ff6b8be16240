from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from servicing.forecasting.accumulation import BOOK_PRIOR
from servicing.forecasting.facts import Dip, Kind, Method, Trigger
from servicing.forecasting.fleet import (
    MOST_SYSTEMS,
    _top_of,
    in_words,
    learn_fleet,
    learn_strata,
    repeat_dip_error,
)
from servicing.forecasting.geometry import rectangular
from servicing.forecasting.tanks import Compartment, Tank
from tests.servicing.forecasting.known import system

TODAY = date(2026, 1, 1)


def fleet(n, rate, dip_error=1.0, seed=1):
    """N tanks of three persons, dipped after one and two years; truth drawn here."""
    random = np.random.default_rng(seed)
    found = []
    for i in range(n):
        home = rate * np.exp(0.5 * random.normal())
        dips = []
        for years in (1, 2):
            level = 136 + 3 * home * years**0.85
            error = dip_error * np.hypot(0.12 * level, 73) * random.normal()
            dips.append((date(2020 + years, 1, 1), float(np.clip(level + error, 0, 2720))))
        found.append(replace(system(*dips), reference=f"S{i}"))
    return found


def test_a_fleet_without_dips_keeps_the_book():
    learned = learn_fleet([system(), system(persons=2)], today=TODAY)
    assert learned.prior == BOOK_PRIOR
    assert "book" in learned.text


@pytest.mark.parametrize("rate", [50, 85, 150])
def test_a_fleet_teaches_its_own_rate(rate):
    learned = learn_fleet(fleet(150, rate), today=TODAY)
    assert learned.prior.median_rate == pytest.approx(rate, rel=0.12)
    assert learned.prior.log_sd == pytest.approx(0.5, abs=0.12)
    assert (learned.systems, learned.dips) == (150, 300)


def test_thirty_first_dips_take_most_of_the_way_from_the_book():
    few, many = (learn_fleet(fleet(n, 150), today=TODAY).prior.median_rate for n in (5, 30))
    assert few > 85
    assert many > 85 + 0.75 * (150 - 85)


@pytest.mark.parametrize("dip_error", [0.6, 2.0])
def test_a_fleet_teaches_how_wrong_its_dips_are(dip_error):
    learned = learn_fleet(fleet(200, 85, dip_error), today=TODAY)
    assert learned.prior.dip_error == pytest.approx(dip_error, rel=0.35)


def test_repeat_dips_give_the_reading_error():
    random = np.random.default_rng(3)
    day = date(2022, 1, 1)
    systems = [
        system(*((day, 900 + 2 * 0.027 * 2720 * random.normal()) for _ in range(2)))
        for _ in range(200)
    ]
    pairs, error = repeat_dip_error(systems)
    assert pairs == 200
    assert error == pytest.approx(2.0, rel=0.12)
    assert repeat_dip_error([system()]) == (0, 1.0)


def test_repeat_dips_in_millimetres_count_by_their_compartment():
    box = Compartment(rectangular(2000, 1133.333, 1500), 1200)
    day = date(2022, 1, 1)
    dips = (Dip(day, 200, 50), Dip(day, 240, 50), Dip(day, 700, 50, compartment=1))
    tank = Tank(compartments=(box, box))
    pairs, error = repeat_dip_error([replace(system(), tank=tank, dips=dips)])
    assert pairs == 1
    assert error == pytest.approx(40 * 2.266667 / 2**0.5 / (0.027 * 5440), rel=1e-4)


def test_repeat_dips_move_the_fleets_error_before_anything_else_does():
    day = date(2022, 1, 1)
    steady = [system((day, 600), (day, 601)) for _ in range(40)]
    wild = [system((day, 300), (day, 900)) for _ in range(40)]
    steady_error, wild_error = (
        learn_fleet(systems, today=TODAY).prior.dip_error for systems in (steady, wild)
    )
    assert steady_error < 1.0 < wild_error


def test_only_tanks_that_can_be_forecast_teach():
    cesspool = replace(system((date(2022, 1, 1), 900)), kind=Kind.CESSPOOL)
    faulty = system((date(2030, 1, 1), 900))
    pumped = replace(
        system(), dips=(Dip(date(2022, 1, 1), litres=2700, method=Method.TANKER_VOLUME),)
    )
    assert learn_fleet([cesspool, faulty, pumped], today=TODAY).systems == 0


def test_small_strata_share_what_the_fleet_learned():
    strata = {"valley": fleet(60, 120), "lets": fleet(40, 45, seed=2), "hill": fleet(29, 40)}
    everyone = learn_fleet([one for some in strata.values() for one in some], today=TODAY)
    learned = learn_strata(strata, today=TODAY, fleet=everyone.prior)
    assert {name: one.systems for name, one in learned.items()} == {"valley": 60, "lets": 40}
    assert learned["valley"].prior.median_rate == pytest.approx(120, rel=0.15)
    assert learned["lets"].prior.median_rate == pytest.approx(45, rel=0.2)


def test_the_order_of_systems_is_irrelevant():
    systems = fleet(20, 110)
    one, other = (learn_fleet(s, today=TODAY).prior for s in (systems, systems[::-1]))
    assert one.median_rate == pytest.approx(other.median_rate, rel=1e-6)


def test_the_manager_reads_it_in_words():
    text = learn_fleet(fleet(60, 150), today=TODAY).text
    assert "120 measurements of 60 systems" in text
    assert "more than the book" in text


def test_a_system_whose_trigger_cannot_be_used_teaches_nothing():
    broken = system((date(2022, 1, 1), 500), trigger=Trigger(share=2.0))
    assert learn_fleet([broken], today=TODAY).systems == 0


def test_a_large_fleet_is_learned_from_an_even_choice_of_its_systems():
    learned = learn_fleet(fleet(MOST_SYSTEMS + 40, 120), today=TODAY)
    assert learned.systems == MOST_SYSTEMS + 40
    assert learned.prior.median_rate == pytest.approx(120, rel=0.1)


def test_blanket_readings_are_no_repeat_dips():
    day = date(2022, 1, 1)
    dips = (Dip(day, litres=300, method=Method.BLANKET), Dip(day, litres=800))
    assert repeat_dip_error([replace(system(), dips=dips)]) == (0, 1.0)


def test_the_same_rate_as_the_book_is_said_to_be_the_same():
    text = in_words(BOOK_PRIOR, BOOK_PRIOR, 40, 80)
    assert "the same as the book's" in text
    straight = replace(BOOK_PRIOR, exponent_weights=(0.0, 0.1, 0.9), median_rate=60.0)
    assert "straight line" in in_words(straight, BOOK_PRIOR, 40, 80)
    assert "less than the book" in in_words(straight, BOOK_PRIOR, 40, 80)


def test_a_flat_likelihood_keeps_the_best_of_the_three():
    steps = np.array([-0.3, 0.0, 0.3])
    assert _top_of(steps, np.array([1.0, 2.0, 3.0])) == 0.3
    assert _top_of(steps, np.array([0.0, 1.0, 0.0])) == 0.0
