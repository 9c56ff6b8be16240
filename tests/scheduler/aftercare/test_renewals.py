"""Notices go out through the outbox, are kept as evidence, and decide whether it renews itself."""

from __future__ import annotations

import datetime as dt

import pytest

from customers.models import Agreement, AgreementEvent
from customers.renewing import set_next_price
from scheduler.aftercare.renewals import run_renewals
from scheduler.models import Message
from tests.make import make_user
from tests.scheduler.aftercare.sold import ENDS, sell

pytestmark = pytest.mark.django_db


def at(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)


FIRST = ENDS - dt.timedelta(days=45)
LAST = ENDS - dt.timedelta(days=14)


@pytest.fixture
def agreement():
    return sell(renews_itself=True)[0]


def send_all(when: dt.datetime) -> None:
    Message.objects.filter(state="waiting").update(state="sent", sent_at=when)


def test_first_notice_and_reminder_are_written_once_each(agreement):
    assert run_renewals(now=at(FIRST - dt.timedelta(days=1))) == 0
    assert not Message.objects.exists()
    for day in (FIRST, FIRST, FIRST + dt.timedelta(days=3), LAST, LAST):
        run_renewals(now=at(day))
    found = Message.objects.order_by("pk").values_list("template", "to_name", "message_class")
    assert list(found) == [
        ("renewal_notice", "Omar", "service"),
        ("renewal_reminder", "Omar", "service"),
    ]


def test_a_notice_says_what_happens_what_it_costs_and_how_to_stop_it(agreement):
    run_renewals(now=at(FIRST))
    text = Message.objects.get().body_text
    for words in ("Thursday 31 December 2026", "Friday 1 January 2027", "£252.00", "stop it"):
        assert words in text


def test_a_notice_that_was_sent_is_evidence_and_lets_it_renew(agreement):
    run_renewals(now=at(FIRST))
    send_all(at(FIRST))
    for _ in range(2):
        run_renewals(now=at(LAST + dt.timedelta(days=-1)))
    assert AgreementEvent.objects.filter(kind="notice").count() == 1
    assert run_renewals(now=at(ENDS)) == 1
    assert run_renewals(now=at(ENDS)) == 0
    assert Agreement.objects.filter(follows=agreement).count() == 1


def test_a_notice_that_was_never_sent_holds_it_for_the_office(agreement):
    run_renewals(now=at(FIRST))
    Message.objects.update(state="dead")
    assert run_renewals(now=at(ENDS)) == 0
    agreement.refresh_from_db()
    assert "No renewal notice got out" in agreement.held_because


def test_a_notice_that_came_back_holds_it(agreement):
    run_renewals(now=at(FIRST))
    send_all(at(FIRST))
    run_renewals(now=at(FIRST))
    Message.objects.update(bounced_at=at(FIRST + dt.timedelta(days=1)))
    assert run_renewals(now=at(ENDS)) == 0
    agreement.refresh_from_db()
    assert "came back" in agreement.held_because


def test_a_new_price_gets_a_notice_of_its_own_with_the_reason(agreement):
    run_renewals(now=at(FIRST))
    send_all(at(FIRST))
    ines = make_user(agreement.organisation)
    new = {"price_pence": 30_000, "reason": "The works charges more"}
    set_next_price(agreement=agreement, by=ines, now=at(FIRST), **new)
    run_renewals(now=at(FIRST + dt.timedelta(days=1)))
    waiting = Message.objects.get(state="waiting")
    assert "The works charges more" in waiting.body_text
    assert "£315.00" in waiting.body_text


def test_who_stops_it_gets_no_further_notice(agreement):
    run_renewals(now=at(FIRST))
    agreement.renews_itself = False
    agreement.save(update_fields=["renews_itself"])
    assert Message.objects.get().state == "dropped"
    run_renewals(now=at(LAST))
    assert Message.objects.count() == 1


def test_without_any_address_nothing_is_written_and_it_is_held():
    agreement, system = sell(renews_itself=True)
    agreement.payer.email = ""
    agreement.payer.save()
    type(system.premises).objects.update(address="", town="", postcode="")
    run_renewals(now=at(FIRST))
    assert not Message.objects.exists()
    run_renewals(now=at(ENDS))
    agreement.refresh_from_db()
    assert agreement.held_at is not None
