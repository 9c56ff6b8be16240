"""What an owner is told for each sign, against the advice that authorities publish."""

import pytest

from scheduler.models import TroubleReport
from scheduler.triage import BY_KEY, SIGNS, advise, signs_for

Priority = TroubleReport.Priority


@pytest.mark.parametrize(
    ("key", "priority"),
    [
        # A missing or loose cover has drowned children: the Health and Safety Executive's cases
        # of open or weak tank covers.
        ("cover_unsafe", Priority.SAME_DAY),
        ("sewage_up", Priority.SAME_DAY),  # common practice, no source
        # Pollution is to be told at once: the environment agencies' incident lines.
        ("ditch_foul", Priority.SAME_DAY),
        ("level_alarm", Priority.SAME_DAY),  # common practice, no source
        # Slow drains and smell are signs of a full tank: NI Water, septic tank advice, March 2024.
        ("all_slow", Priority.SOON),
        ("wet_strip", Priority.SOON),
        ("smell_dry", Priority.ROUTINE),
        # One slow drain is its own pipe, all of them the tank: common practice, no source.
        ("one_slow", Priority.NONE),
    ],
)
def test_the_danger_decides_how_soon_we_come(key, priority):
    assert BY_KEY[key].priority == priority


def test_only_what_needs_nobody_makes_no_job():
    assert [sign.key for sign in SIGNS if not sign.makes_a_job] == ["one_slow"]


def test_lamps_are_asked_about_only_where_there_is_a_plant():
    without = {sign.key for sign in signs_for(has_plant=False)}
    assert {sign.key for sign in signs_for(has_plant=True)} - without == {"level_alarm", "air_lamp"}


def test_no_advice_has_an_owner_open_a_cover_or_switch_a_plant_off():
    text = " ".join(step for sign in SIGNS for step in sign.steps).lower()
    for phrase in ("lift the cover", "open the cover", "open the tank", "switch the plant off"):
        assert phrase not in text
    for key in ("level_alarm", "air_lamp"):
        assert any("leave the plant switched on" in step.lower() for step in BY_KEY[key].steps)


def test_a_full_empty_is_advised_against_while_the_ground_is_flooded():
    # An empty tank floats in saturated ground: makers' installation instructions, common to all.
    assert any("float" in step for step in BY_KEY["after_rain"].steps)


def test_same_day_trouble_tells_the_owner_to_ring():
    assert all("ring us" in advise(s.key).coming for s in SIGNS if s.priority == Priority.SAME_DAY)


def test_the_advice_kept_on_record_is_all_that_was_told():
    advice = advise("sewage_up")
    assert all(step in advice.text for step in advice.sign.steps)
    assert advice.coming in advice.text


def test_keys_fit_the_column_and_differ():
    assert len(BY_KEY) == len(SIGNS)
    assert all(len(sign.key) <= 40 for sign in SIGNS)
