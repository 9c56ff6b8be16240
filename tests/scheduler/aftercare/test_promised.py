"""The visits an agreement promises become jobs, each once and at the right time."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from customers.agreement_terms import Stretch
from customers.agreements import end_agreement
from customers.models import Agreement
from scheduler import due_work
from scheduler.aftercare.promised import LEEWAY_DAYS, promised_by, wanted_on
from scheduler.models import Job
from servicing.forecasts import refresh_forecast
from tests.make import make_user
from tests.scheduler.aftercare.sold import (
    BEGINS,
    ENDS,
    make_firm,
    make_plan,
    sell,
    visit,
    written_down,
)

YEAR = Stretch(BEGINS, ENDS)
TODAY = dt.date(2026, 5, 1)


def jobs(system):
    return list(
        Job.objects.open().filter(system=system).order_by("kind").values_list("kind", "due_on")
    )


@given(count=st.integers(1, 6), data=st.data())
def test_a_promised_visit_comes_within_its_part_of_the_year(count, data):
    made = data.draw(st.integers(0, count - 1))
    back = data.draw(st.one_of(st.none(), st.integers(-700, 364)))
    last = None if back is None else BEGINS + dt.timedelta(days=back)
    day = wanted_on(YEAR, count=count, made=made, last=last)
    begins = BEGINS + dt.timedelta(days=365 * made // count)
    ends = BEGINS + dt.timedelta(days=365 * (made + 1) // count)
    assert begins <= day <= max(begins, ends - dt.timedelta(days=LEEWAY_DAYS))


@pytest.mark.django_db
def test_included_visits_are_wanted_once_however_often_it_is_asked():
    agreement, system = sell()
    visit(system, dt.date(2025, 6, 1)).chamber_findings.create(
        chamber=system.chambers.create(label="IC1")
    )
    for _ in range(3):
        due_work.make_due_jobs(organisation=system.organisation, today=TODAY)
    assert jobs(system) == [("inspection", dt.date(2026, 6, 1))]  # a year after the last look
    assert Job.objects.get().under_agreement == agreement


@pytest.mark.django_db
def test_a_visit_made_is_not_wanted_again_in_the_same_year():
    _agreement, system = sell()
    firm = system.organisation
    visit(system, dt.date(2026, 2, 2)).chamber_findings.create(
        chamber=system.chambers.create(label="IC1")
    )
    due_work.make_due_jobs(organisation=firm, today=TODAY)
    assert jobs(system) == []
    in_autumn = dt.date(2026, 10, 1)
    due_work.make_due_jobs(organisation=firm, today=in_autumn)
    # The emptying of the year is wanted by its end at the latest.
    assert jobs(system) == [("emptying", ENDS - dt.timedelta(days=LEEWAY_DAYS))]


@pytest.mark.django_db
def test_what_the_forecast_and_the_agreement_want_is_one_job_on_the_earlier_day():
    agreement, system = sell()
    system.last_emptied_on = dt.date(2020, 1, 1)
    system.installed_on = dt.date(2010, 1, 1)
    system.save()
    refresh_forecast(system, today=dt.date(2026, 12, 1))
    due_work.make_due_jobs(organisation=system.organisation, today=dt.date(2026, 12, 1))
    job = Job.objects.get(kind="emptying")
    assert job.required
    assert job.under_agreement == agreement
    assert job.due_on <= ENDS - dt.timedelta(days=LEEWAY_DAYS)


@pytest.mark.django_db
def test_when_the_agreement_ends_what_only_it_wanted_is_withdrawn():
    agreement, system = sell()
    firm = system.organisation
    due_work.make_due_jobs(organisation=firm, today=dt.date(2026, 10, 1))
    assert jobs(system)
    end_agreement(
        agreement=agreement, ended_on=dt.date(2026, 10, 2), reason="Moves", by=make_user(firm)
    )
    assert jobs(system) == []


@pytest.mark.django_db
def test_a_plan_for_plants_promises_no_service_to_a_septic_tank():
    firm = make_firm()
    plan = make_plan(firm, emptyings_per_year=0, inspections_per_year=0, service_visits_per_year=2)
    sell(firm, plan=plan)
    assert not list(promised_by(firm, until=ENDS, today=TODAY))


NOVEMBER = dt.date(2026, 11, 20)


def four_looks(*days, written=NOVEMBER):
    """An agreement with four inspections in 2026, and the days on which there was one."""
    firm = make_firm()
    plan = make_plan(firm, emptyings_per_year=0, inspections_per_year=4)
    agreement, system = sell(firm, plan=plan)
    written_down(agreement, written)
    cover = system.chambers.create(label="IC1")
    for day in days:
        visit(system, day).chamber_findings.create(chamber=cover)
    return agreement, system


def promised(system, today):
    return [
        (one.on, one.number, one.missed)
        for one in promised_by(system.organisation, until=ENDS, today=today)
    ]


@pytest.mark.django_db
def test_nothing_is_overdue_from_before_the_agreement_was_written_down():
    agreement, system = sell()
    system.chambers.create(label="IC1")
    written_down(agreement, NOVEMBER)
    due_work.make_due_jobs(organisation=system.organisation, today=NOVEMBER)
    # The middle of the year was 2 July: nobody here knew of it then.
    assert ("inspection", NOVEMBER) in jobs(system)
    assert all(day >= NOVEMBER for _, day in jobs(system))


# Quarters of 2026 by hand, 365 days in four: from 1 January, 2 April, 2 July and 1 October. By
# 20 November three of them are over.
@pytest.mark.django_db
@pytest.mark.parametrize(
    ("looks", "expected"),
    [
        ([], [(NOVEMBER, 4, 3)]),
        ([dt.date(2026, 2, 10), dt.date(2026, 5, 10)], [(NOVEMBER, 4, 1)]),
        ([dt.date(2026, 11, 24)], []),
        ([dt.date(2026, month, 9) for month in (1, 4, 7, 10)], []),
    ],
)
def test_visits_missed_before_it_was_written_down_are_counted_not_invented(looks, expected):
    _, system = four_looks(*looks)
    assert promised(system, dt.date(2026, 11, 28)) == expected


@pytest.mark.django_db
def test_what_was_known_in_time_stays_overdue():
    _, system = four_looks(written=BEGINS)
    ((day, number, missed),) = promised(system, dt.date(2026, 11, 28))
    assert (number, missed) == (1, 0)
    assert day < dt.date(2026, 4, 2)


@pytest.mark.django_db
def test_the_day_is_that_of_the_place_and_a_sale_keeps_the_first_one():
    agreement, system = four_looks()
    system.premises.time_zone = "Pacific/Auckland"
    system.premises.save()
    Agreement.objects.filter(pk=agreement.pk).update(
        created_at=dt.datetime(2026, 11, 20, 12, tzinfo=dt.UTC)  # 01:00 of the 21st there
    )
    assert promised(system, dt.date(2026, 11, 28)) == [(dt.date(2026, 11, 21), 4, 3)]
    agreement.refresh_from_db()
    later = Agreement.objects.create(
        organisation=system.organisation,
        premises=system.premises,
        plan=agreement.plan,
        starts_on=BEGINS,
        ends_on=ENDS,
        price_pence=1,
        follows=agreement,
        followed_how="sale",
    )
    written_down(later, dt.date(2026, 11, 25))
    agreement.state = "cancelled"
    agreement.cancelled_at = dt.datetime(2026, 11, 25, tzinfo=dt.UTC)
    agreement.save()
    assert promised(system, dt.date(2026, 11, 28))[0][0] == dt.date(2026, 11, 21)
