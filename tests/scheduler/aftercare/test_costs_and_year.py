"""What agreements really cost, and the year ahead."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from scheduler.aftercare.costs import costs_of, earned
from scheduler.aftercare.fees import charge_fees_of
from scheduler.aftercare.year_ahead import year_ahead
from servicing.models import Forecast
from tests.make import (
    make_job,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
    make_works,
)
from tests.scheduler.aftercare.sold import BEGINS, ENDS, NOW, make_firm, make_plan, sell, visit

pytestmark = pytest.mark.django_db
JULY = dt.date(2026, 7, 1)


def test_cost_is_crew_road_and_works_worked_by_hand():
    agreement, system = sell()
    firm = system.organisation
    tanker = make_tanker(firm, pence_per_hour=3_000, pence_per_km=100)
    make_works(firm, name="Nether Marl", charge_pence_per_m3=1_000)
    came = visit(
        system,
        dt.date(2026, 3, 2),
        2_500,
        arrived_at=dt.datetime(2026, 3, 2, 9, 0, tzinfo=dt.UTC),
        left_at=dt.datetime(2026, 3, 2, 9, 50, tzinfo=dt.UTC),
    )
    came.emptying.tipped_at = "Nether Marl"
    came.emptying.save()
    job = make_job(system, due_on=came.visited_on, state="done", visit=came)
    driven = make_round(firm, day=came.visited_on, tanker=tanker)
    make_stop(driven, job=job, metres=5_000)
    cost = costs_of(firm, [agreement], today=JULY)[agreement.pk]
    # 50 min on site and 10 on 5 km of road at £30 an hour, 5 km at £1, 2.5 m³ at £10.
    assert (cost.visits, cost.minutes, cost.guessed) == (1, 60, 0)
    assert cost.cost_pence == 3_000 + 500 + 2_500


def test_income_is_the_share_of_days_gone_by():
    agreement, _ = sell(price_pence=36_500)
    assert earned(agreement, today=dt.date(2026, 4, 10)) == 10_000  # the hundredth day
    assert earned(agreement, today=ENDS + dt.timedelta(days=99)) == 36_500


def test_the_agreement_that_loses_most_is_seen_first(client):
    cheap, system = sell(price_pence=1_000)
    firm = system.organisation
    sell(firm, plan=make_plan(firm, name="Dear"), price_pence=90_000)
    for month in (2, 3, 4, 5):
        visit(system, dt.date(2026, month, 3))
    client.force_login(make_user(firm))
    shown = client.get(reverse("scheduler:aftercare_costs")).content.decode()
    assert shown.index(str(cheap.premises)) < shown.index("Dear</td>")
    assert "Loss" in shown


def test_fees_of_the_year_ahead_are_those_that_will_be_charged():
    agreement, system = sell(charged_every_months=3, renews_itself=True)
    months = year_ahead(system.organisation, today=BEGINS)
    assert sum(month.sure_pence for month in months) == 24_000
    assert sum(month.if_renewed_pence for month in months) == 0
    charge_fees_of(system.organisation, today=ENDS)
    assert sum(one.net_pence for one in agreement.charges.all()) == 24_000
    later = year_ahead(system.organisation, today=JULY)
    assert [m.first.month for m in later if m.sure_pence] == [7, 10]
    assert [m.first.month for m in later if m.if_renewed_pence] == [1, 4]


def test_promised_visits_stand_in_the_month_in_which_they_are_wanted():
    _, system = sell()
    system.chambers.create(label="IC1")
    months = year_ahead(system.organisation, today=BEGINS)
    assert sum(month.promised for month in months) == 2  # an emptying and an inspection
    assert sum(month.litres for month in months) == 2_700  # the usual tank: nothing forecast
    made = visit(system, dt.date(2026, 2, 2))
    made.chamber_findings.create(chamber=system.chambers.get())
    assert sum(m.promised for m in year_ahead(system.organisation, today=NOW.date())) == 1


def forecast(system, *, since, due_on):
    Forecast.objects.create(
        organisation=system.organisation,
        system=system,
        state="ready",
        made_on=NOW.date(),
        model_version="t",
        refreshed_at=NOW,
        since=since,
        due_on=due_on,
        working_volume_litres=9_000,
    )


# Counted by hand on a calendar. 60 days an interval, from 20 January 2026: 21 March, 20 May, 19
# July, 17 September, 16 November; the next, 15 January 2027, lies beyond the twelve months.
def test_a_cesspool_is_counted_each_time_it_fills():
    system = make_system(make_firm())
    forecast(system, since=dt.date(2025, 11, 21), due_on=dt.date(2026, 1, 20))
    months = year_ahead(system.organisation, today=BEGINS)
    assert [m.forecast for m in months] == [1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1, 0]
    assert sum(m.litres for m in months) == 6 * 9_000


# The agreement promises one emptying, put in the middle of its year, 2 July; it serves the one
# forecast nearest to it, that of 19 July. Five are left.
def test_of_a_cesspool_under_an_agreement_what_goes_beyond_the_promise_is_counted():
    _, system = sell()
    forecast(system, since=dt.date(2025, 11, 21), due_on=dt.date(2026, 1, 20))
    months = year_ahead(system.organisation, today=BEGINS)
    assert [m.forecast for m in months] == [1, 0, 1, 0, 1, 0, 0, 0, 1, 0, 1, 0]
    assert months[6].litres == 9_000
    assert sum(m.litres for m in months) == 6 * 9_000


# Overdue since May, emptied on 1 July: then 1 July + 100 days = 9 October, + 200 = 17 January,
# + 300 = 27 April.
def test_what_is_overdue_repeats_from_now_on():
    system = make_system(make_firm())
    forecast(system, since=dt.date(2026, 1, 25), due_on=dt.date(2026, 5, 5))
    months = year_ahead(system.organisation, today=JULY)
    assert [m.first.month for m in months if m.forecast] == [7, 10, 1, 4]


def test_the_pages_show_it(client):
    _, system = sell(renews_itself=True)
    client.force_login(make_user(system.organisation, "reader"))
    assert "If renewed" in client.get(reverse("scheduler:aftercare_year")).content.decode()
