"""Whoever reads Welsh is told in Welsh; the office and its crews go on in English."""

from __future__ import annotations

import re
from datetime import timedelta

import icalendar
import pytest
from django.utils import translation

from customers.models import Person
from scheduler.messages import telling
from scheduler.messages.ladder import plan_reminders
from scheduler.messages.outbox import letter_of
from scheduler.messages.own_ladder import OwnWords, set_step
from scheduler.messages.words import fill, fill_short
from scheduler.models import CalendarEvent, Job, Message
from tests.make import make_job, make_person, make_user
from tests.scheduler.messages.test_words import CREWS, FACTS, FOLDER, TEMPLATES
from tests.scheduler.messages.visits import (
    NOW,
    add_party,
    make_agreement,
    make_owned_system,
    make_round,
    make_visit,
)

OWNERS = [name for name in TEMPLATES if name not in CREWS]
WELSH_FACTS = {
    **FACTS,
    "work": "gwagio'r tanc septig",
    "system": "tanc septig",
    "due": "Dydd Mercher 30 Mehefin 2027",
    "when": "Dydd Gwener 18 Mehefin 2027",
    "before": "Dydd Iau 17 Mehefin 2027",
    "reason": "ffordd dan ddŵr",
    "found": "braster, weips",
    "visited": "Dydd Gwener 18 Mehefin 2027",
    "taken": "2,700 litr",
    "next_due": "Dydd Sul 18 Mehefin 2028",
    "completed": "Dydd Gwener 18 Mehefin 2027",
    "begins": "Dydd Iau 1 Gorffennaf 2027",
    "ends": "Dydd Gwener 30 Mehefin 2028",
    "new_ends": "Dydd Sadwrn 30 Mehefin 2029",
    "until": "Dydd Iau 1 Gorffennaf 2027",
    "cancel_by": "Dydd Mercher 14 Gorffennaf 2027",
}
ENGLISH_WORDS = re.compile(
    r"\b(the|we|you|your|our|and|please|will|of|for|with|that|this|ring|is|are|not|from)\b",
    re.IGNORECASE,
)


def plain(html):
    """Words of a page without its tags and addresses."""
    body = re.sub(r"<(style|script|title)\b.*?</\1>", " ", html, flags=re.DOTALL)
    return re.sub(r"https?://\S+", " ", re.sub(r"<[^>]+>", " ", body))


@pytest.mark.parametrize("template", OWNERS)
def test_every_message_to_owners_is_whole_in_welsh(template):
    with translation.override("cy"):
        words = fill(template, WELSH_FACTS)
    for text in (words.subject, words.text, plain(words.html)):
        assert ENGLISH_WORDS.findall(re.sub(r"https?://\S+", "", text)) == []
    assert '<html lang="cy">' in words.html
    # The caution is the point of every message: never open it, it kills, ring us at once.
    for text in (words.text, words.html):
        assert "Fyddwn ni byth yn gofyn i chi agor y tanc" in text
        assert "ladd heb rybudd" in text
        assert "ffoniwch ni ar unwaith" in text


@pytest.mark.parametrize(
    "template", [name for name in OWNERS if (FOLDER / name / "short.txt").is_file()]
)
def test_text_messages_are_whole_in_welsh_and_caution_too(template):
    with translation.override("cy"):
        text = fill_short(template, WELSH_FACTS).text
    assert ENGLISH_WORDS.findall(text) == []
    assert "yn gofyn i chi agor y tanc" in text
    assert len(text) <= 480


@pytest.mark.parametrize("number", [0, 1, 2, 3, 6, 30])
def test_minutes_are_counted_in_welsh(number):
    # Welsh: a singular noun after a number, softened after one and two (feminine): from memory.
    with translation.override("cy"):
        text = fill("on_the_way", {**WELSH_FACTS, "minutes": number}).text
    assert f"tua {number} {'funud' if number in (1, 2) else 'munud'}." in text


@pytest.fixture
def mixed(db):
    """Omar reads Welsh; Sioned beside him reads what the firm writes."""
    system, omar = make_owned_system()
    omar.language = "cy"
    omar.save()
    other = make_person(system.organisation, name="Ines' sister", email="sister@home.example")
    add_party(system, other)
    return system, omar, other


def test_each_reads_their_own_language(mixed):
    system, omar, other = mixed
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    welsh, english = (Message.objects.get(person=one) for one in (omar, other))
    assert (welsh.language, english.language) == ("cy", "en-gb")
    assert "Rydym yn dod: Dydd Gwener 18 Mehefin 2027, rhwng 09:00 a 11:00" in welsh.subject
    assert "Y gwaith: gwagio'r tanc septig." in welsh.body_text
    assert english.subject.startswith("We are coming to ")
    assert "Friday 18 June 2027, between 09:00 and 11:00" in english.subject


def test_the_calendar_speaks_the_language_of_its_reader(mixed):
    system, omar, _ = mixed
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    message = Message.objects.get(person=omar)
    event = icalendar.Calendar.from_ical(message.calendar_text).walk("VEVENT")[0]
    assert "gwagio'r tanc septig" in str(event["SUMMARY"])
    assert "Fyddwn ni byth yn gofyn i chi agor y tanc." in str(event["DESCRIPTION"])


def test_a_cancellation_is_in_the_language_of_the_invitation(mixed):
    system, omar, _ = mixed
    visit = make_visit(system=system)
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    Message.objects.update(state="sent", sent_at=NOW)
    visit.cancelled_at = NOW
    visit.save()
    telling.tell_appointment_cancelled(appointment=visit, now=NOW)
    newest = Message.objects.filter(to_address=omar.email).order_by("-pk").first()
    assert (newest.calendar_method, newest.language) == ("CANCEL", "cy")
    assert "wedi'i ganslo" in newest.body_text


@pytest.mark.parametrize(
    ("because", "said"),
    [("Locked gate", "Giât wedi'i chloi"), ("The lane is flooded", "The lane is flooded")],
)
def test_a_reason_from_the_list_is_said_in_welsh_and_a_written_one_as_it_is(mixed, because, said):
    system, omar, _ = mixed
    job = make_job(system, due_on=NOW.date(), state=Job.State.ABANDONED, closed_because=because)
    telling.tell_visit_abandoned(job=job, now=NOW)
    assert f"Y rheswm: {said}." in Message.objects.get(person=omar).body_text


def test_the_firm_says_what_its_owners_usually_read(mixed):
    system, _, other = mixed
    system.organisation.language = "cy"
    system.organisation.save()
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    assert Message.objects.get(person=other).language == "cy"


def test_a_language_the_site_does_not_speak_falls_back_to_english(mixed):
    system, omar, _ = mixed
    Person.objects.filter(pk=omar.pk).update(language="tlh")
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    assert Message.objects.get(person=omar).language == "en-gb"


def test_crew_and_calls_stay_english_while_a_welsh_page_is_open(mixed):
    system, _, other = mixed
    Person.objects.filter(pk=other.pk).update(email="", postal_address="1 Fold Lane")
    visit = make_visit(NOW + timedelta(days=1), system=system)
    planned = make_round(visit)
    with translation.override("cy"):
        telling.tell_round_accepted(planned=planned, now=NOW)
    crew = Message.objects.get(template="crew_round")
    assert "Your round with" in crew.body_text
    assert "emptying of the septic tank" in CalendarEvent.objects.get(round=planned).description
    call = other.calls.get()
    assert call.why.startswith("The visit is booked for Tuesday 8 June 2027, between ")


def test_letters_are_framed_in_the_language_of_who_reads_them(mixed):
    from scheduler.letters import letters_of  # noqa: PLC0415

    system, omar, _ = mixed
    Person.objects.filter(pk=omar.pk).update(email="", postal_address="1 Fold Lane")
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    (letter,) = letters_of(Message.objects.filter(channel="post"), NOW.date())
    assert letter.frame.language == "cy"
    assert letter.frame.written == "7 Mehefin 2027"
    assert letter.frame.scan == "Sganiwch i agor eich tudalen"


def offer_of(system, person, **own):
    make_agreement(system)
    make_job(system, due_on=NOW.date() + timedelta(days=50), state=Job.State.WANTED)
    set_step(
        organisation=system.organisation,
        name="offer",
        days=-60,
        in_use=True,
        by=make_user(system.organisation),
        **{"subject": "", "words": "", **own},
    )
    plan_reminders(now=NOW)
    return Message.objects.get(person=person)


def test_own_english_words_are_not_sent_to_who_reads_welsh(mixed):
    system, omar, other = mixed
    message = offer_of(system, omar, words="It is time at {place}.")
    assert "It is time at" not in message.body_text
    assert "Bydd angen gwaith cyn bo hir." in message.body_text
    assert "It is time at" in Message.objects.get(person=other).body_text


def test_own_welsh_words_are(mixed):
    system, omar, other = mixed
    others = {"cy": OwnWords("Mae'n bryd", "Safle: {place}. Dyddiad: {due}.")}
    message = offer_of(system, omar, other_words=others)
    assert message.subject == "Mae'n bryd"
    assert re.search(r"Dyddiad: Dydd \w+ \d+ Gorffennaf 2027\.", message.body_text)
    assert "falls due around" in Message.objects.get(person=other).body_text


def test_a_hole_in_welsh_words_is_refused(mixed):
    system, omar, _ = mixed
    with pytest.raises(ValueError, match="palce"):
        offer_of(system, omar, other_words={"cy": OwnWords("", "Safle: {palce}.")})


def test_the_same_row_gives_the_same_bytes_whatever_language_is_active(mixed):
    system, omar, _ = mixed
    telling.tell_appointment_agreed(appointment=make_visit(system=system), now=NOW)
    message = Message.objects.get(person=omar)
    before = letter_of(message)
    with translation.override("cy"):
        assert letter_of(message) == before
