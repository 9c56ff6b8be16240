"""Fees as they fall due, and what goes back when an agreement ends early."""

from __future__ import annotations

import datetime as dt
import uuid
from fractions import Fraction

import pytest
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from customers.agreement_terms import instalments
from customers.agreements import end_agreement
from customers.money import vat_on
from scheduler.aftercare.batches import make_batch
from scheduler.aftercare.fees import charge_fees_of, share_done
from scheduler.aftercare.reckoning import reckon_visits_of
from scheduler.models import Charge
from tests.make import make_user
from tests.scheduler.aftercare.sold import BEGINS, ENDS, NOW, make_firm, make_plan, sell, visit

pytestmark = pytest.mark.django_db
YEARS_END = dt.date(2026, 12, 31)


def totals(agreement):
    rows = agreement.charges.that_count()
    found = rows.order_by().aggregate(net=Sum("net_pence"), vat=Sum("vat_pence"))
    return found["net"] or 0, found["vat"] or 0


def test_a_fee_is_charged_once_line_by_line_with_its_own_vat():
    agreement, system = sell()
    for _ in range(2):
        charge_fees_of(system.organisation, today=BEGINS)
    rows = agreement.charges.order_by("service").values_list("service", "net_pence", "vat_pence")
    # 240.00 shared out by single prices, 180 to 60: three quarters at 0 %, a quarter at 20 %.
    assert list(rows) == [("emptying", 18_000, 0), ("inspection", 6_000, 1_200)]


def test_instalments_are_charged_when_each_falls_due():
    agreement, system = sell(charged_every_months=3)
    charge_fees_of(system.organisation, today=dt.date(2026, 3, 31))
    assert totals(agreement)[0] == 6_000
    charge_fees_of(system.organisation, today=dt.date(2026, 4, 1))
    assert totals(agreement)[0] == 12_000


def test_before_the_price_list_begins_nothing_is_charged():
    agreement, system = sell(starts_on=dt.date(2025, 7, 1), ends_on=dt.date(2026, 6, 30))
    charge_fees_of(system.organisation, today=YEARS_END)
    assert totals(agreement) == (0, 0)


def test_the_end_gives_the_rest_of_the_term_back_by_days():
    agreement, system = sell()
    ines = make_user(system.organisation)
    charge_fees_of(system.organisation, today=BEGINS)
    end_agreement(agreement=agreement, ended_on=dt.date(2026, 3, 15), reason="Moves", by=ines)
    # Counted day by day: 1 January to 14 March 2026 are 73 of 365 days, a fifth of 240.00.
    days = [BEGINS + dt.timedelta(days=n) for n in range(365)]
    used = sum(day < dt.date(2026, 3, 15) for day in days)
    assert (used, totals(agreement)[0]) == (73, 4_800)
    assert totals(agreement)[1] == 240  # 20 % of the inspections' quarter of it


@pytest.mark.parametrize(("basis", "stays"), [("all", 0), ("none", 24_000)])
def test_all_or_nothing_goes_back_where_that_was_settled(basis, stays):
    agreement, system = sell()
    ines = make_user(system.organisation)
    charge_fees_of(system.organisation, today=BEGINS)
    end_agreement(
        agreement=agreement,
        ended_on=dt.date(2026, 3, 15),
        reason="Our fault",
        refund_basis=basis,
        by=ines,
    )
    assert totals(agreement)[0] == stays


# SI 2013/3134 regulation 36, from memory, check: payment in proportion to what was supplied, in
# comparison with the whole of the contract. By single prices the inspection is a quarter of it.
def test_who_cancels_after_an_early_start_pays_for_what_was_done():
    agreement, system = sell()
    firm = system.organisation
    charge_fees_of(firm, today=BEGINS)
    came = visit(system, dt.date(2026, 1, 8))
    system.chambers.create(label="IC1")
    came.chamber_findings.create(chamber=system.chambers.get())
    reckon_visits_of(firm, now=NOW)
    assert share_done(agreement) == Fraction(1, 4)
    end_agreement(
        agreement=agreement,
        ended_on=dt.date(2026, 1, 10),
        reason="Cancelled",
        refund_basis="done",
        by=make_user(firm),
    )
    assert totals(agreement)[0] == 6_000


def test_what_the_bookkeeping_has_is_given_back_by_a_line_with_a_minus():
    agreement, system = sell()
    firm, ines = system.organisation, make_user(system.organisation)
    charge_fees_of(firm, today=BEGINS)
    make_batch(organisation=firm, by=ines, now=NOW)
    end_agreement(
        agreement=agreement, ended_on=BEGINS, reason="Never began", refund_basis="all", by=ines
    )
    assert totals(agreement) == (0, 0)
    owed = agreement.charges.owed()
    assert {one.net_pence for one in owed} == {-18_000, -6_000}
    assert not agreement.charges.filter(state="void").exists()


# Money is never lost by rounding: whatever is sold and whenever it ends, what stays charged is the
# share of each instalment by days, counted here day by day with fractions and rounded once.
@settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    price=st.integers(0, 99_999),
    every=st.sampled_from([1, 3, 6, 12]),
    ended=st.integers(0, 365),
    exported=st.booleans(),
)
def test_what_stays_charged_is_the_days_had_to_the_penny(price, every, ended, exported):
    firm = make_firm()
    plan = make_plan(firm, name=uuid.uuid4().hex[:20], service_visits_per_year=1)
    agreement, _ = sell(firm, plan=plan, price_pence=price, charged_every_months=every)
    ines = make_user(firm)
    end = BEGINS + dt.timedelta(days=ended)
    charge_fees_of(firm, today=end)
    if exported:
        make_batch(organisation=firm, by=ines, now=NOW)
    if end <= ENDS:
        end_agreement(agreement=agreement, ended_on=end, reason="Moves", by=ines)
    expected = Fraction(0)
    for part in instalments(agreement):
        days = [part.first + dt.timedelta(days=n) for n in range(part.days)]
        if part.first <= min(end, ENDS):
            had = sum(Fraction(part.pence, part.days) for day in days if day < end or end > ENDS)
            expected += int(had + Fraction(1, 2))
    net, vat = totals(agreement)
    assert net == expected
    rates = {one.service: one.vat_percent for one in agreement.charges.all()}
    by_service = agreement.charges.that_count().order_by().values("service")
    sums = by_service.annotate(net=Sum("net_pence"), vat=Sum("vat_pence"))
    parts = len(instalments(agreement))
    for one in sums:
        exact = vat_on(one["net"], Fraction(rates[one["service"]]))
        assert abs(one["vat"] - exact) <= parts  # each line is rounded by itself
    assert vat == sum(one["vat"] for one in sums)
    assert Charge.objects.filter(agreement=agreement).count() >= (price > 0 and ended > 0)
