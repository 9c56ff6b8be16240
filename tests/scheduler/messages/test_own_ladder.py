"""The ladder as an office wants it: days, words, hours, and a look before keeping them."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.messages.ladder import plan_reminders
from scheduler.messages.own_ladder import (
    RANGES,
    TITLES,
    USUAL,
    OwnWords,
    fault_in,
    ladder_of,
    set_step,
    set_telling_rules,
)
from scheduler.messages.steps import offered_around
from scheduler.messages.words import fill
from scheduler.models import LadderStep, Message
from servicing.models import ChamberFinding, Visit
from tests.make import make_job, make_user
from tests.scheduler.messages.test_words import FACTS
from tests.scheduler.messages.visits import (
    NOW,
    allow,
    make_agreement,
    make_owned_system,
    make_visit,
)


def changed(organisation, name="offer", **fields):
    plain = {"days": USUAL[name], "in_use": True, "subject": "", "words": ""}
    by = make_user(organisation)
    return set_step(organisation=organisation, name=name, by=by, **(plain | fields))


def test_every_usual_day_lies_in_its_range_and_every_step_has_a_title():
    assert set(TITLES) == set(RANGES) == set(USUAL)
    assert all(first <= USUAL[name] <= last for name, (first, last) in RANGES.items())


# --- Words ---


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("Soon at {place}", ""),
        ("Soon at {palce}", "Nothing is known by the name {palce}"),
        ("{when}", "Nothing is known by the name {when}"),  # no visit is agreed yet
        ("{place", "no partner"),
        ("{{ place }}", "no partner"),
        ("{% load x %}", "no partner"),
        ("{place.organisation.secret}", "no partner"),
    ],
)
def test_own_words_name_only_what_is_known(text, fault):
    assert fault in fault_in(text, "offer")
    assert bool(fault_in(text, "offer")) == bool(fault)


@given(st.text(max_size=200))
def test_own_words_run_nothing_whatever_they_say(text):
    words = fill("offer", FACTS, OwnWords("", text))
    assert "<script" not in words.html
    assert FACTS["sender"] in words.text


def test_own_words_stand_between_our_greeting_and_our_caution():
    own = OwnWords("Soon: {system}", "Dear {who}, <b>{place}</b> is due {due}.")
    words = fill("offer", FACTS, OwnWords(own.subject, "<b>{place}</b> is due {due}."))
    assert words.subject == "Soon: septic tank"
    assert "Hello Omar" in words.text
    assert "<b>Fold Farm</b> is due Wednesday 30 June 2027." in words.text
    assert "&lt;b&gt;Fold Farm" in words.html
    assert "never ask you to open the tank" in words.text
    assert FACTS["link"] in words.text


# --- Steps ---


@pytest.mark.django_db
def test_an_office_moves_a_step_and_says_it_in_its_own_words():
    system, _ = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=NOW.date() + timedelta(days=80))
    changed(system.organisation, days=-80, subject="Plan ahead: {place}", words="Ring {phone}.")
    assert plan_reminders(now=NOW - timedelta(days=1)) == 0
    assert plan_reminders(now=NOW) == 1
    message = Message.objects.get()
    assert message.subject == f"Plan ahead: {system.premises}"
    assert "Ring 01632 960123." in message.body_text


@pytest.mark.django_db
def test_a_step_not_in_use_is_passed_over():
    system, _ = make_owned_system()
    make_agreement(system)
    make_job(system, due_on=NOW.date() + timedelta(days=60))
    changed(system.organisation, in_use=False)
    assert plan_reminders(now=NOW) == 0
    assert plan_reminders(now=NOW + timedelta(days=30)) == 1
    assert Message.objects.get().template == "offer_again"


@pytest.mark.django_db
def test_another_office_keeps_the_usual_ladder():
    changed(make_owned_system()[0].organisation, days=-100)
    other = make_owned_system()[0].organisation
    assert [step.days for step in ladder_of(other).offers] == [-60, -30, 14, 45]


@pytest.mark.django_db
@pytest.mark.parametrize("wrong", [{"days": -10}, {"words": "{nobody}"}, {"subject": "{"}])
def test_a_step_out_of_order_or_with_a_hole_is_refused(wrong):
    with pytest.raises(ValueError, match=r"between|name|partner"):
        changed(make_owned_system()[0].organisation, **wrong)
    assert not LadderStep.objects.exists()


@pytest.mark.django_db
def test_own_hours_hold_for_what_is_written_and_what_leaves():
    system, _ = make_owned_system()
    organisation = system.organisation
    make_agreement(system)
    make_job(system, due_on=NOW.date() + timedelta(days=60))
    by = make_user(organisation)
    set_telling_rules(
        organisation=organisation, day_begins=time(10, 30), day_ends=time(16), order="email", by=by
    )
    plan_reminders(now=NOW - timedelta(hours=5))
    message = Message.objects.get()
    assert message.next_try_at == NOW.replace(hour=9, minute=30)  # half past ten in London


# --- The season ---


@pytest.mark.parametrize(
    ("due", "around"),
    [
        (date(2027, 3, 30), date(2027, 3, 26)),  # Easter Monday 29 March: the Friday before
        (date(2027, 3, 23), date(2027, 3, 19)),  # Good Friday 26 March
        (date(2027, 4, 5), date(2027, 4, 5)),
        (date(2027, 8, 31), date(2027, 8, 27)),  # the Monday of late August
    ],
)
def test_what_falls_due_in_a_bank_holiday_week_is_offered_for_the_week_before(due, around):
    # Bank holidays of England: Banking and Financial Dealings Act 1971, schedule 1, and Good
    # Friday by common law; Easter 2027 is 28 March by the tables of the Calendar Act 1750.
    assert offered_around(due, "GB-ENG") == around


def found_in_drain(system, debris, amount=2, on=date(2026, 6, 1)):
    chamber = system.chambers.create(label="IC1")
    visit = Visit.objects.create(
        organisation=system.organisation, system=system, visited_on=on, lid_back_on=True
    )
    return ChamberFinding.objects.create(visit=visit, chamber=chamber, debris=debris, amount=amount)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("debris", "amount", "notes"), [("fat", 2, 1), ("wipes", 1, 1), ("roots", 3, 0), ("fat", 0, 0)]
)
def test_before_christmas_a_place_whose_drain_showed_fat_or_wipes_gets_one_note(
    debris, amount, notes
):
    system, omar = make_owned_system()
    make_agreement(system)
    found_in_drain(system, debris, amount)
    season = NOW.replace(month=11, day=20)
    for now in (NOW, season, season + timedelta(days=9), season + timedelta(days=34)):
        plan_reminders(now=now)
    assert Message.objects.filter(template="fat_and_wipes").count() == notes
    if notes:
        message = Message.objects.get()
        assert (message.person, message.message_class) == (omar, "service")
        assert f"does not belong there: {debris}." in message.body_text
        assert "/place/" in message.body_text or "http" in message.body_text


@pytest.mark.django_db
def test_without_agreement_the_note_needs_consent():
    system, omar = make_owned_system()
    found_in_drain(system, "fat")
    season = NOW.replace(month=11, day=20)
    assert plan_reminders(now=season) == 0
    allow(omar)
    assert plan_reminders(now=season) == 1
    assert Message.objects.get().message_class == "marketing"


# --- The pages ---


@pytest.fixture
def office(client, db):
    system, _ = make_owned_system()
    make_job(system, due_on=NOW.date())
    client.force_login(make_user(system.organisation))
    return system


def sent(**fields):
    return {"in_use": "on", "days": "60", "subject": "", "words": "", **fields}


def test_a_look_shows_a_real_case_and_keeps_nothing(client, office):
    url = "/messages/reminders/offer/"
    response = client.post(url, sent(words="<i>{place}</i>", look="1"))
    page = response.content.decode()
    assert f"&lt;i&gt;{office.premises}&lt;/i&gt;" in page
    assert "Hello Omar" in page
    assert not LadderStep.objects.exists()
    assert not Message.objects.exists()


def test_a_step_is_saved_and_listed(client, office):
    client.post("/messages/reminders/offer/", sent(days="90", words="Ring us."), follow=True)
    step = LadderStep.objects.get()
    assert (step.days, step.words) == (-90, "Ring us.")
    page = client.get("/messages/reminders/").content.decode()
    assert "90 days before" in page
    assert "Your own" in page


def test_a_hole_is_shown_at_its_field_and_nothing_typed_is_lost(client, office):
    response = client.post("/messages/reminders/offer/", sent(words="At {palce}, soon"))
    assert "Nothing is known by the name {palce}" in response.content.decode()
    assert "At {palce}, soon" in response.content.decode()
    assert not LadderStep.objects.exists()


def test_a_visit_step_is_looked_at_with_a_visit(client, office):
    make_visit(system=make_owned_system(organisation=office.organisation)[0])
    url = "/messages/reminders/reminder_day/"
    page = client.post(url, sent(days="1", words="We come {when}.", look="1")).content.decode()
    assert "We come Friday 18 June 2027, between 09:00 and 11:00." in page


def test_hours_are_saved_and_must_run_forwards(client, office):
    url = "/messages/reminders/hours/"
    wrong = client.post(url, {"day_begins": "18:00", "day_ends": "09:00", "order": "email"})
    assert "must end after it begins" in wrong.content.decode()
    client.post(url, {"day_begins": "09:00", "day_ends": "18:00", "order": "sms"})
    assert "From 09:00 to 18:00" in client.get("/messages/reminders/").content.decode()
