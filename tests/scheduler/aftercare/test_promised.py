"""The visits an agreement promises become jobs, each once and at the right time."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from customers.agreement_terms import Stretch
from customers.agreements import end_agreement
from scheduler import due_work
from scheduler.aftercare.promised import LEEWAY_DAYS, promised_by, wanted_on
from scheduler.models import Job
from servicing.forecasts import refresh_forecast
from tests.make import make_user
from tests.scheduler.aftercare.sold import BEGINS, ENDS, make_firm, make_plan, sell, visit

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
