"""Omar reads Welsh: everything round his agreement is Welsh, its own words stay as agreed."""

from __future__ import annotations

import datetime as dt
import re

import pytest

from customers.agreement_sales import fingerprint
from customers.models import Person
from scheduler.aftercare import selling
from scheduler.models import Message
from scheduler.owner_links import owner_url
from tests.make import make_user
from tests.scheduler.aftercare.sold import NOW, sell
from tests.scheduler.messages.test_welsh import ENGLISH_WORDS, plain

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def offered():
    begins, ends = dt.date(2026, 11, 9), dt.date(2027, 11, 8)
    draft, system = sell(state="draft", starts_on=begins, ends_on=ends, renews_itself=True)
    Person.objects.filter(pk=draft.payer_id).update(language="cy")
    draft.refresh_from_db()
    return selling.offer(agreement=draft, by=make_user(system.organisation), now=NOW)


@pytest.fixture
def page(offered):
    return owner_url(premises=offered.premises, person=offered.payer)


def english_in(answer):
    """English words outside of what says that it is English."""
    html = re.sub(
        r'<(div|span) lang="en-gb">.*?</\1>', " ", answer.content.decode(), flags=re.DOTALL
    )
    return ENGLISH_WORDS.findall(plain(html))


def act(client, page, agreement, verb="", **sent):
    address = f"{page}agreements/{agreement.public_id}/{verb}"
    return client.post(address, sent, follow=True) if verb else client.get(address)


def yes(client, page, offered, **fields):
    seen = fingerprint(offered.offered_text)
    return act(
        client, page, offered, "agree/", **{"name": "Omar", "read": "on", "seen": seen} | fields
    )


def test_the_offer_is_welsh_round_the_words_that_are_offered(client, offered, page):
    for answer in (client.get(page), act(client, page, offered)):
        assert english_in(answer) == []
    shown = act(client, page, offered).content.decode()
    assert "Saesneg yw iaith y cytundeb ei hun." in shown
    assert '<div lang="en-gb"><p>AFTERCARE AGREEMENT: Full care' in shown


@pytest.mark.parametrize("wrong", [{"name": ""}, {"read": ""}, {"seen": "0" * 64}])
def test_what_keeps_a_yes_from_counting_is_said_in_welsh(client, offered, page, wrong):
    answer = yes(client, page, offered, **wrong)
    assert answer.status_code == 422
    assert english_in(answer) == []


def test_an_offer_whose_last_day_has_passed_is_refused_in_welsh(
    client, offered, page, time_machine
):
    time_machine.move_to(NOW + dt.timedelta(days=200), tick=False)
    answer = yes(client, page, offered)
    assert "Mae diwrnod olaf y cynnig hwn wedi mynd heibio." in answer.content.decode()
    assert english_in(answer) == []


def test_agreeing_cancelling_and_saying_no_are_answered_in_welsh(client, offered, page):
    assert english_in(yes(client, page, offered, early_start="on")) == []
    assert english_in(client.get(page)) == []
    assert english_in(act(client, page, offered, "cancel/")) == []
    assert english_in(act(client, page, offered, "decline/")) == []


def test_stopping_and_cancelling_too_late_are_answered_in_welsh(
    client, offered, page, time_machine
):
    yes(client, page, offered)
    time_machine.move_to(NOW + dt.timedelta(days=15), tick=False)
    late = act(client, page, offered, "cancel/")
    assert "Mae'r dyddiau i ganslo heb reswm ar ben." in late.content.decode().replace(
        "&#x27;", "'"
    )
    for answer in (late, act(client, page, offered, "stop/")):
        assert english_in(answer) == []


def test_the_messages_are_welsh_and_the_words_agreed_to_are_kept_to_the_letter(
    client, offered, page
):
    yes(client, page, offered)
    for template in ("agreement_offered", "agreement_agreed"):
        message = Message.objects.get(template=template)
        assert message.language == "cy"
        assert "Saesneg yw iaith y cytundeb ei hun." in message.body_text
        assert offered.offered_text.strip() in message.body_text
        assert ENGLISH_WORDS.findall(message.subject) == []


def test_who_reads_english_is_not_told_that_it_is_english(client, offered, page):
    Person.objects.filter(pk=offered.payer_id).update(language="en-gb")
    assert "itself is in English" not in act(client, page, offered).content.decode()
    yes(client, page, offered)
    assert "in English" not in Message.objects.get(template="agreement_agreed").body_text
