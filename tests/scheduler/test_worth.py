"""What letting a job wait is held to cost. The amounts are our own settings: no source."""

import datetime as dt

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from scheduler.models import Job
from scheduler.round_plans.worth import (
    EARLY_PENCE_PER_DAY,
    YEAR_OVER_PENCE,
    chance_over,
    may_not_wait,
    pressing_words,
    worth_of,
)
from servicing.models import Forecast
from tests.make import make_crew, make_organisation, make_tanker, make_user, make_works
from tests.scheduler.planning import DAY, job_at, planned

pytestmark = pytest.mark.django_db
MONTH = dt.timedelta(days=30)


@pytest.fixture
def office():
    return make_organisation()


def job_forecast(office, risk, **fields):
    """A job whose system is over its limit with these chances, 0, 30, 60 days from the day."""
    forecast = {name: fields.pop(name) for name in ("ceiling_on", "due") if name in fields}
    job = job_at(office, **fields)
    Forecast.objects.create(
        system=job.system,
        organisation=office,
        state="ready",
        made_on=DAY,
        model_version="t",
        due_on=forecast.get("due", job.due_on),
        ceiling_on=forecast.get("ceiling_on"),
        over_risk={(DAY + n * MONTH).isoformat(): chance for n, chance in enumerate(risk)},
        refreshed_at=timezone.now(),
    )
    return Job.objects.get(pk=job.pk)


def worth(job, days=1):
    return worth_of(job, [DAY + dt.timedelta(days=n) for n in range(days)])


def test_between_the_days_of_the_forecast_the_chance_runs_straight(office):
    forecast = job_forecast(office, [0.2, 0.5]).system.forecast
    found = [chance_over(forecast, DAY + dt.timedelta(days=n)) for n in (-9, 0, 15, 30, 400)]
    assert found == pytest.approx([0.2, 0.2, 0.35, 0.5, 0.5])


def test_a_system_surely_over_costs_a_day_what_a_year_over_costs_shared_out(office):
    """By hand: with a chance of 1 every day costs 90,000 / 365 pence, beside the overdue rise."""
    sure, never = job_forecast(office, [1.0]), job_forecast(office, [0.0])
    gap = worth(sure, 8).day_cost_pence[DAY + dt.timedelta(days=7)]
    gap -= worth(never, 8).day_cost_pence[DAY + dt.timedelta(days=7)]
    assert gap == pytest.approx(7 * YEAR_OVER_PENCE / 365, abs=1)


def test_who_waited_longer_goes_first(office):
    values = [
        worth(job_forecast(office, [0.3], due_on=DAY - dt.timedelta(days=n))).value_pence
        for n in (0, 1, 30, 120)
    ]
    assert values == sorted(values)
    assert len(set(values)) == 4


def test_a_higher_risk_goes_before_a_lower_one(office):
    values = [worth(job_forecast(office, [risk])).value_pence for risk in (0.1, 0.4, 0.8)]
    assert values == sorted(values)
    assert len(set(values)) == 3


def test_doing_a_job_early_costs_the_days_given_away(office):
    job = job_forecast(office, [0.0], due_on=DAY + dt.timedelta(days=20))
    assert worth(job).day_cost_pence == {DAY: 20 * EARLY_PENCE_PER_DAY}


@given(st.integers(0, 180), st.floats(0, 1))
def test_what_is_not_due_is_worth_less_than_what_is(days_ahead, risk):
    """A law over dates and risks, on rows that are not stored."""
    due = Job(kind="service", due_on=DAY, value_pence=0)
    later = Job(kind="service", due_on=DAY + dt.timedelta(days=1 + days_ahead), value_pence=0)
    assert worth(later).value_pence <= worth(due).value_pence


def test_a_ceiling_an_urgent_call_and_a_sure_overflow_may_not_wait(office):
    weighed = job_forecast(office, [0.6], due_on=DAY - MONTH)
    ceiling = job_forecast(office, [0.1], ceiling_on=DAY)
    sure = job_forecast(office, [0.95])
    urgent = job_at(office, kind="call_out", urgent=True)
    by_hand = job_forecast(office, [0.0], due=DAY + 20 * MONTH, required=True)
    found = [may_not_wait(job, DAY) for job in (weighed, ceiling, sure, urgent, by_hand)]
    assert found == [False, True, True, True, True]


def test_how_pressing_is_said_in_words(office):
    job = job_forecast(office, [0.95], due_on=DAY - dt.timedelta(days=40))
    assert pressing_words(job, DAY) == "40 days overdue, almost surely over its limit"
    assert pressing_words(job_at(office), DAY) == ""


def test_on_a_full_day_the_longest_overdue_goes_and_the_small_ones_wait(office):
    """One load of 6,000 L overdue by four months, or three of 2,000 L due today."""
    make_works(office)
    tanker = make_tanker(office, capacity_litres=6000, crew=make_crew(office))
    tanker.shift_ends = dt.time(9, 45)
    tanker.break_minutes = 0
    tanker.save()
    old = job_forecast(office, [0.6], litres=6000, due_on=DAY - dt.timedelta(days=120))
    small = [job_forecast(office, [0.1], litres=2000) for _ in range(3)]
    run = planned(office, make_user(office, "planner"), [tanker], [*small, old], iterations=200)
    left = {line["job"]: line for line in run.left_out}
    assert str(old.public_id) not in left
    assert len(left) == 3
    assert "chance of 10 in 100" in next(iter(left.values()))["pressing"]
