"""Renewal: no new price without reason and notice, no renewal without a notice in time."""

from __future__ import annotations

import datetime as dt

import pytest

from customers import renewing
from customers.agreement_record import AgreementRefused
from customers.agreements import start_agreement
from customers.models import AftercarePlan, Agreement
from tests.make import make_organisation, make_premises, make_user

pytestmark = pytest.mark.django_db
ENDS = dt.date(2026, 12, 31)
# The days (45, 14 and 30) are settings of the country profile: common practice, no source.
TOLD = dt.date(2026, 11, 16)


def at(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(12), tzinfo=dt.UTC)


@pytest.fixture
def ines():
    return make_user(make_organisation())


@pytest.fixture
def sold(ines, time_machine):
    time_machine.move_to(at(dt.date(2026, 11, 1)), tick=False)
    firm = ines.memberships.get().organisation
    plan = AftercarePlan.objects.create(organisation=firm, name="Full", price_pence=24_000)
    return start_agreement(
        premises=make_premises(firm),
        plan=plan,
        starts_on=dt.date(2026, 1, 1),
        ends_on=ENDS,
        renews_itself=True,
        by=ines,
    )


def told(agreement, day=TOLD, price=24_000):
    renewing.note_notice(agreement=agreement, given_at=at(day), price_pence=price, how="Mail")


def renew(agreement, day=ENDS):
    following = renewing.renew_itself(agreement=agreement, now=at(day))
    agreement.refresh_from_db()
    return following


def test_with_a_notice_in_time_it_renews_on_its_last_day_and_once(sold):
    told(sold)
    assert renew(sold, ENDS - dt.timedelta(days=1)) is None
    following = renew(sold)
    assert (following.starts_on, following.ends_on) == (
        dt.date(2027, 1, 1),
        dt.date(2027, 12, 31),
    )
    assert (following.follows, following.price_pence) == (sold, 24_000)
    assert renew(sold) is None
    assert Agreement.objects.count() == 2


def test_without_a_notice_it_is_held_and_not_renewed(sold):
    assert renew(sold) is None
    assert "No renewal notice got out" in sold.held_because
    assert Agreement.objects.held().get() == sold


@pytest.mark.parametrize(("days_before", "renews"), [(14, True), (13, False)])
def test_a_notice_that_got_out_too_late_renews_nothing(sold, days_before, renews):
    told(sold, ENDS - dt.timedelta(days=days_before))
    assert (renew(sold) is not None) is renews
    assert bool(sold.held_because) is not renews


def test_a_new_price_needs_its_reason(sold, ines):
    with pytest.raises(AgreementRefused, match="Say why"):
        renewing.set_next_price(agreement=sold, price_pence=26_000, reason=" ", by=ines)


@pytest.mark.parametrize(("days_before", "may"), [(30, True), (29, False)])
def test_a_new_price_is_told_thirty_days_before(sold, ines, days_before, may):
    now = at(ENDS - dt.timedelta(days=days_before))
    new = {"price_pence": 26_000, "reason": "The works charges more"}
    if not may:
        with pytest.raises(AgreementRefused, match="had to be told"):
            renewing.set_next_price(agreement=sold, by=ines, now=now, **new)
        return
    changed = renewing.set_next_price(agreement=sold, by=ines, now=now, **new)
    told(changed, now.date(), 26_000)
    assert renew(changed).price_pence == 26_000


def test_the_price_of_the_running_term_never_changes(sold, ines):
    new = {"price_pence": 26_000, "reason": "The works charges more"}
    renewing.set_next_price(agreement=sold, by=ines, **new)
    sold.refresh_from_db()
    assert (sold.price_pence, sold.price_of_next_term) == (24_000, 26_000)


def test_a_notice_of_another_price_renews_nothing(sold, ines):
    told(sold)
    new = {"price_pence": 26_000, "reason": "The works charges more"}
    renewing.set_next_price(agreement=sold, by=ines, **new)
    assert renew(sold) is None
    assert "another price" in sold.held_because


def test_a_notice_by_hand_lifts_the_hold_but_not_the_days(sold, ines):
    assert renew(sold) is None
    released = renewing.give_notice_by_hand(
        agreement=sold, given_on=TOLD, how="Rang Omar", by=ines, now=at(ENDS)
    )
    assert released.held_at is None
    assert renew(sold) is not None


def test_who_does_not_want_it_any_more_is_not_renewed(sold):
    told(sold)
    renewing.stop_renewing(agreement=sold, words="On the owner's page", now=at(TOLD), by=None)
    assert renew(sold) is None
    assert not sold.held_because


def test_long_after_its_end_nothing_renews_unseen(sold):
    told(sold)
    assert renew(sold, ENDS + dt.timedelta(days=30)) is None
    assert "ran out a while ago" in sold.held_because


def test_a_consumer_may_leave_a_renewed_term_for_some_days(sold):
    told(sold)
    assert renew(sold).cancel_by == dt.date(2027, 1, 15)
