"""Omar reads, agrees, cancels and stops his agreement on his page, without an account."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from customers.agreement_sales import fingerprint
from customers.models import Agreement, Party
from scheduler.aftercare import selling
from scheduler.models import Message
from scheduler.owner_links import owner_url
from tests.make import make_person, make_user
from tests.scheduler.aftercare.sold import NOW, sell

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def offered():
    draft, system = sell(
        state="draft",
        starts_on=dt.date(2026, 11, 9),
        ends_on=dt.date(2027, 11, 8),
        renews_itself=True,
    )
    ines = make_user(system.organisation)
    return selling.offer(agreement=draft, by=ines, now=NOW)


@pytest.fixture
def page(offered):
    return owner_url(premises=offered.premises, person=offered.payer)


def where(page: str, agreement: Agreement, act: str = "") -> str:
    return f"{page}agreements/{agreement.public_id}/{act}"


def yes(client, page, offered, **fields):
    seen = fingerprint(offered.offered_text)
    answer = {"name": "Omar", "read": "on", "seen": seen, **fields}
    return client.post(where(page, offered, "agree/"), answer)


def test_the_offer_reaches_omar_and_his_page_leads_to_it(client, offered, page):
    message = Message.objects.get(template="agreement_offered")
    assert "Nothing is agreed until you say yes" in message.body_text
    assert "An agreement waits for your answer" in client.get(page).content.decode()
    shown = client.get(where(page, offered)).content.decode()
    assert "Agree, with the duty to pay" in shown
    assert "CHANGING YOUR MIND" in shown


def test_omar_agrees_and_gets_the_words_to_keep(client, offered, page):
    yes(client, page, offered, early_start="on")
    offered.refresh_from_db()
    assert (offered.state, offered.agreed_name, offered.early_start) == ("agreed", "Omar", True)
    kept = Message.objects.get(template="agreement_agreed").body_text
    assert "AFTERCARE AGREEMENT: Full care" in kept
    assert "16 November 2026" in kept


@pytest.mark.parametrize(
    ("missing", "words"), [("name", "Write your name"), ("read", "Tick this to agree")]
)
def test_nothing_is_agreed_without_name_and_tick_and_nothing_typed_is_lost(
    client, offered, page, missing, words
):
    answer = yes(client, page, offered, **{missing: "", "early_start": "on"})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    offered.refresh_from_db()
    assert offered.state == "offered"


def test_words_that_were_changed_meanwhile_are_not_agreed_to(client, offered, page):
    answer = yes(client, page, offered, seen="0" * 64)
    assert "changed since you opened it" in answer.content.decode()


def test_omar_says_no(client, offered, page):
    client.post(where(page, offered, "decline/"))
    offered.refresh_from_db()
    assert offered.state == "declined"
    assert "waits for your answer" not in client.get(page).content.decode()


def test_omar_cancels_within_the_days_and_is_told_so(client, offered, page):
    yes(client, page, offered)
    assert "Cancel the agreement" in client.get(where(page, offered)).content.decode()
    client.post(where(page, offered, "cancel/"), {"words": "We move"})
    offered.refresh_from_db()
    assert offered.state == "cancelled"
    assert Message.objects.filter(template="agreement_cancelled").count() == 1
    assert "Cancel the agreement" not in client.get(where(page, offered)).content.decode()


def test_after_the_days_there_is_no_cancelling_but_a_stop(client, offered, page, time_machine):
    yes(client, page, offered)
    time_machine.move_to(NOW + dt.timedelta(days=15), tick=False)
    shown = client.get(where(page, offered)).content.decode()
    assert "Cancel the agreement" not in shown
    client.post(where(page, offered, "cancel/"))
    client.post(where(page, offered, "stop/"))
    offered.refresh_from_db()
    assert (offered.state, offered.renews_itself) == ("agreed", False)


def test_another_person_of_the_place_sees_no_agreement_of_omars(client, offered):
    tenant = make_person(offered.organisation, name="Tenant")
    Party.objects.create(premises=offered.premises, person=tenant, role="occupier")
    theirs = owner_url(premises=offered.premises, person=tenant)
    assert "waits for your answer" not in client.get(theirs).content.decode()
    assert client.get(where(theirs, offered)).status_code == 404
    assert client.post(where(theirs, offered, "agree/")).status_code == 404


def test_a_draft_is_not_omars_to_see(client, page, offered):
    Agreement.objects.filter(pk=offered.pk).update(state="draft")
    assert client.get(where(page, offered)).status_code == 404


def test_the_office_writes_a_paper_signature_down(client, offered):
    client.force_login(make_user(offered.organisation))
    fields = {"name": "Omar", "signed_on": "2026-11-01", "informed": "on"}
    client.post(reverse("scheduler:agreement_signed", args=[offered.public_id]), fields)
    offered.refresh_from_db()
    assert (offered.state, offered.cancel_by) == ("agreed", dt.date(2026, 11, 15))


def test_the_page_of_an_agreement_tells_all_of_it(client, offered, page):
    yes(client, page, offered, early_start="on")
    client.force_login(make_user(offered.organisation))
    shown = client.get(reverse("customers:agreement", args=[offered.public_id])).content.decode()
    for words in ("The customer cancels", "On the owner", "may be cancelled", "Price a year"):
        assert words.lower() in shown.lower()
