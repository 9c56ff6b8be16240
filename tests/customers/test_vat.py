"""VAT is decided by line from the work, what goes on at the place, and the country's rules."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from customers.country_rules import RuleBook
from customers.models import AftercarePlan, CountryProfile, ProfileRule, Service, ServicePrice
from customers.vat import line_of, lines_of_fee, rule_of, weights_of, year_of_plan
from tests.make import make_organisation, make_profile

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 11, 2)


@pytest.fixture
def rules():
    return RuleBook(make_profile(), DAY)


# VAT Act 1994, Schedule 8, Group 2 and section 2: emptying zero-rated unless for a relevant
# industrial activity (SIC 1980 divisions 1 to 5). The industrial test as published by HMRC and a
# water company; that a servicing is standard-rated is from memory and so is shown as "check".
@pytest.mark.parametrize(
    ("service", "activity", "percent"),
    [
        ("emptying", "household", 0),
        ("emptying", "farm", 0),
        ("emptying", "hospitality", 0),
        ("emptying", "industrial", 20),
        ("extra_litres", "household", 0),
        ("extra_litres", "industrial", 20),
        ("service", "household", 20),
        ("inspection", "farm", 20),
        ("jetting", "household", 20),
        ("call_out", "business", 20),
        ("abortive", "household", 20),
    ],
)
def test_the_rate_follows_the_work_and_the_activity(rules, service, activity, percent):
    assert rule_of(service, activity, rules).percent == percent


def test_what_is_not_confirmed_is_to_check_and_names_its_source(rules):
    for service in Service.values:
        found = rule_of(service, "household", rules)
        assert found.is_to_check
        assert "check" in found.source.lower() or "SIC" in found.source


def test_an_emptying_where_nobody_said_what_goes_on_is_to_check(rules):
    assert "not written down" in rule_of("emptying", "", rules).source


def test_one_agreement_has_several_rates(rules):
    weights = {Service.EMPTYING: 18_000, Service.SERVICE: 9_000}
    lines = lines_of_fee(30_000, weights, "household", rules)
    assert [(line.service, line.net_pence, line.vat_pence) for line in lines] == [
        ("emptying", 20_000, 0),
        ("service", 10_000, 2_000),
    ]


@given(
    net=st.integers(0, 200_000),
    prices=st.lists(st.integers(1, 30_000), min_size=1, max_size=5),
)
def test_lines_of_a_fee_add_up_to_it(net, prices):
    rules = RuleBook(CountryProfile.objects.get(code="england"), DAY)
    weights = dict(zip(list(Service)[: len(prices)], prices, strict=True))
    lines = lines_of_fee(net, weights, "household", rules)
    assert sum(line.net_pence for line in lines) == net
    assert sum(line.gross_pence for line in lines) == net + sum(line.vat_pence for line in lines)


def test_a_part_without_a_single_price_makes_the_whole_one_line_at_the_usual_rate(rules):
    only = {Service.SERVICE: ServicePrice(service="service", price_pence=9_000)}
    weights = weights_of({Service.EMPTYING: 1, Service.SERVICE: 1}, only)
    (line,) = lines_of_fee(20_000, weights, "household", rules)
    assert (line.service, line.vat_pence) == (Service.COVER, 4_000)


def test_a_rule_that_begins_later_holds_from_its_day():
    profile = make_profile()
    ProfileRule.objects.create(
        profile=profile,
        key="vat_emptying",
        value=5,
        valid_from=dt.date(2027, 4, 1),
        standing="law",
        source="A change of the law",
    )
    before = rule_of("emptying", "household", RuleBook(profile, dt.date(2027, 3, 31)))
    after = rule_of("emptying", "household", RuleBook(profile, dt.date(2027, 4, 1)))
    assert (before.percent, after.percent) == (Fraction(0), Fraction(5))
    assert not after.is_to_check


def test_a_rate_with_a_half_is_exact():
    ireland = CountryProfile.objects.get(code="ireland")
    line = line_of(Service.EMPTYING, 20_000, "household", RuleBook(ireland, DAY))
    assert (line.rule.percent, line.vat_pence) == (Fraction("13.5"), 2_700)


def test_a_country_without_a_rule_puts_no_vat_on_and_says_so():
    bare = CountryProfile.objects.create(code="nowhere", name="Nowhere")
    found = rule_of("emptying", "household", RuleBook(bare, DAY))
    assert found.percent == 0
    assert found.is_to_check


def test_a_plan_shows_its_year_line_by_line():
    firm = make_organisation()
    plan = firm_plan(firm)
    for service, pence in (("emptying", 18_000), ("service", 9_000)):
        ServicePrice.objects.create(
            organisation=firm, service=service, valid_from=DAY, price_pence=pence
        )
    lines = year_of_plan(plan, price_pence=27_000, activity="industrial", on=DAY)
    assert [line.vat_pence for line in lines] == [3_600, 1_800]


def firm_plan(firm):
    return AftercarePlan.objects.create(
        organisation=firm,
        name="Full",
        price_pence=27_000,
        emptyings_per_year=1,
        service_visits_per_year=1,
    )
