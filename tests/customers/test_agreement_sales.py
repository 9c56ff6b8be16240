"""Selling: what is offered stays word for word, and the days to cancel are kept."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied

from customers import agreement_sales as sales
from customers.agreement_record import AgreementRefused
from customers.agreements import hand_on, start_agreement
from customers.models import AftercarePlan, Agreement, AgreementEvent
from tests.make import make_organisation, make_person, make_premises, make_user

pytestmark = pytest.mark.django_db
NOW = dt.datetime(2026, 11, 2, 10, tzinfo=dt.UTC)
TODAY = NOW.date()
FIRST, LAST = dt.date(2026, 11, 9), dt.date(2027, 11, 8)


@pytest.fixture(autouse=True)
def _clock(time_machine):
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def ines():
    return make_user(make_organisation(phone="01632 960 111"))


@pytest.fixture
def firm(ines):
    return ines.memberships.get().organisation


@pytest.fixture
def omar(firm):
    return make_person(firm, name="Omar")


@pytest.fixture
def draft(firm, ines, omar):
    plan = AftercarePlan.objects.create(
        organisation=firm, name="Full care", price_pence=24_000, response_hours=24
    )
    facts = {
        "plan": plan,
        "payer": omar,
        "customer_is": "consumer",
        "sold_how": "distance",
        "starts_on": FIRST,
        "ends_on": LAST,
        "price_pence": 24_000,
        "renews_itself": True,
    }
    return sales.draw_up(premises=make_premises(firm), by=ines, facts=facts)


@pytest.fixture
def offered(draft, ines):
    return sales.offer(agreement=draft, by=ines, now=NOW)


def yes(offered, omar, *, early=False, now=NOW, **more):
    seen = more.pop("seen", sales.fingerprint(offered.offered_text))
    return sales.agree(
        agreement=offered, name="Omar", seen=seen, early_start=early, person=omar, now=now, **more
    )


def test_an_offer_covers_nothing_until_it_is_agreed(offered):
    assert not Agreement.objects.current(FIRST).exists()
    assert Agreement.objects.to_sign().get() == offered


# SI 2013/3134, Schedule 2 (as restated by legal guides): price with tax, duration, renewal, the
# right to cancel with its days and a form for it.
@pytest.mark.parametrize(
    "words",
    ["Full care", "£240.00", "£48.00", "£288.00", "9 Nov 2026", "renews itself", "within 14 days",
     "counted from the day after", "16 Nov 2026", "I cancel the agreement", "Never open a cover",
     "within 24 hours"],
)  # fmt: skip
def test_the_offer_says_what_a_consumer_must_know(offered, words):
    assert words in offered.offered_text


def test_no_placeholder_is_left_in_the_words(offered):
    assert not {"{", "}", "%}"} & set(offered.offered_text)


def test_a_yes_is_kept_with_its_time_its_words_and_the_last_day_to_cancel(offered, omar):
    agreed = yes(offered, omar, early=True)
    event = AgreementEvent.objects.get(agreement=agreed, kind="agreed")
    assert (agreed.state, agreed.agreed_at, agreed.cancel_by) == (
        "agreed",
        NOW,
        dt.date(2026, 11, 16),
    )
    assert event.facts["sha256"] == sales.fingerprint(agreed.offered_text)
    assert (event.person, event.happened_at) == (omar, NOW)


def test_without_a_wish_to_begin_early_it_begins_after_the_days_to_cancel(offered, omar):
    agreed = yes(offered, omar)
    assert (agreed.starts_on, agreed.ends_on) == (dt.date(2026, 11, 17), dt.date(2027, 11, 16))


def test_with_the_wish_it_begins_when_it_was_to_begin(offered, omar):
    assert yes(offered, omar, early=True).starts_on == FIRST


def test_a_business_has_no_days_to_cancel_and_begins_at_once(draft, ines, omar):
    sales.change_draft(agreement=draft, by=ines, facts={"customer_is": "business"})
    offered = sales.offer(agreement=draft, by=ines, now=NOW)
    assert "CHANGING YOUR MIND" not in offered.offered_text
    agreed = yes(offered, omar)
    assert (agreed.cancel_by, agreed.starts_on) == (None, FIRST)


def test_who_saw_other_words_has_not_agreed(offered, draft, ines, omar):
    old = sales.fingerprint(offered.offered_text)
    sales.change_draft(agreement=draft, by=ines, facts={"price_pence": 30_000})
    again = sales.offer(agreement=draft, by=ines, now=NOW)
    with pytest.raises(AgreementRefused, match="changed since"):
        yes(again, omar, seen=old)


def test_an_offer_ends_and_a_second_yes_is_the_first(offered, omar):
    late = NOW + dt.timedelta(days=31)
    with pytest.raises(AgreementRefused, match="last day of this offer"):
        yes(offered, omar, now=late)
    first = yes(offered, omar)
    assert yes(first, omar, now=late).agreed_at == NOW
    assert AgreementEvent.objects.filter(kind="agreed").count() == 1


def test_a_yes_cannot_cover_days_that_another_agreement_covers(offered, omar, ines):
    start_agreement(
        premises=offered.premises, plan=offered.plan, starts_on=FIRST, ends_on=LAST, by=ines
    )
    with pytest.raises(ValueError, match="already"):
        yes(offered, omar, early=True)


def test_an_offer_needs_somebody_to_go_to(draft, ines):
    sales.change_draft(agreement=draft, by=ines, facts={"payer": None})
    with pytest.raises(AgreementRefused, match="who pays"):
        sales.offer(agreement=draft, by=ines)


@pytest.mark.parametrize(("days", "in_time"), [(13, True), (14, True), (15, False)])
def test_cancelling_is_in_time_until_the_end_of_the_last_day(offered, omar, days, in_time):
    agreed = yes(offered, omar, early=True)
    day = dt.datetime.combine(TODAY + dt.timedelta(days=days), dt.time(23, 59), tzinfo=dt.UTC)
    if in_time:
        assert sales.cancel(agreement=agreed, now=day, person=omar).state == "cancelled"
    else:
        with pytest.raises(AgreementRefused, match="over"):
            sales.cancel(agreement=agreed, now=day, person=omar)


def test_a_letter_counts_by_the_day_it_was_sent(offered, omar, ines):
    agreed = yes(offered, omar, early=True)
    sent, came = TODAY + dt.timedelta(days=14), NOW + dt.timedelta(days=17)
    cancelled = sales.cancel(agreement=agreed, now=came, said_on=sent, by=ines)
    assert (cancelled.state, cancelled.refund_basis) == ("cancelled", "done")


def test_who_did_not_ask_for_an_early_start_gets_everything_back(offered, omar):
    agreed = yes(offered, omar)
    cancelled = sales.cancel(agreement=agreed, now=NOW, person=omar)
    again = sales.cancel(agreement=agreed, now=NOW + dt.timedelta(days=40), person=omar)
    assert (again.refund_basis, again.cancelled_at) == ("all", cancelled.cancelled_at)


def test_an_uninformed_customer_may_cancel_a_year_longer(offered, omar, ines):
    agreed = yes(offered, omar, by=ines, informed=False, how="Signed on paper.")
    assert agreed.cancel_by == dt.date(2027, 11, 16)


def test_evidence_is_neither_changed_nor_removed(offered):
    event = offered.events.first()
    event.words = "something else"
    for act in (event.save, event.delete):
        with pytest.raises(TypeError, match="stays as it was"):
            act()


@pytest.mark.parametrize("role", ["planner", "crew", "reader"])
def test_only_the_office_offers(draft, role):
    with pytest.raises(PermissionDenied):
        sales.offer(agreement=draft, by=make_user(draft.organisation, role))


def test_a_sale_of_the_house_ends_it_and_the_rest_can_be_offered(offered, omar, ines, firm):
    agreed = yes(offered, omar, early=True)
    sold_on = dt.date(2027, 2, 1)
    buyer = make_person(firm, name="Buyer")
    rest = hand_on(agreement=agreed, sold_on=sold_on, buyer=buyer, by=ines)
    again = hand_on(agreement=agreed, sold_on=sold_on, buyer=buyer, by=ines)
    agreed.refresh_from_db()
    assert (agreed.ended_on, rest, rest.state) == (sold_on, again, "draft")
    assert (rest.payer, rest.starts_on, rest.ends_on) == (buyer, sold_on, LAST)
