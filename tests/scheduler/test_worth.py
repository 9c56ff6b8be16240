"""What letting a job wait is held to cost. The amounts are our own settings: no source."""

import datetime as dt
from dataclasses import replace

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from scheduler.models import Job
from scheduler.round_plans import fleet_of, prices_of
from scheduler.round_plans.prices import ALONE_PENCE, EMPTYING_PENCE, YEAR_OVER_PENCE, Prices
from scheduler.round_plans.worth import (
    USUAL_INTERVAL_DAYS,
    chance_over,
    may_not_wait,
    pressing_words,
    waiting_of,
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


OURS = Prices(
    emptying_pence=EMPTYING_PENCE,
    year_over_pence=YEAR_OVER_PENCE,
    alone_pence=ALONE_PENCE,
    assumed=frozenset({"emptying", "trouble", "alone"}),
)


def worth(job, days=1, prices=OURS):
    return worth_of(job, [DAY + dt.timedelta(days=n) for n in range(days)], prices)


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
    assert worth(job).day_cost_pence == {DAY: round(20 * EMPTYING_PENCE / USUAL_INTERVAL_DAYS)}


def test_the_days_given_away_follow_the_interval_of_the_system(office):
    """A cesspool lasts 90 days: ten days early are a ninth of an emptying of 180.00."""
    job = job_forecast(office, [0.0], due_on=DAY + dt.timedelta(days=10))
    job.system.forecast.since = job.due_on - dt.timedelta(days=90)
    prices = replace(OURS, emptying_pence=180_00)
    assert worth(job, prices=prices).day_cost_pence == {DAY: 2_000}


def test_our_own_prices_are_named_as_such_and_the_organisations_are_used(office):
    assert prices_of(office) == OURS
    office.emptying_cost_pence, office.trouble_cost_pence = 240_00, 1200_00
    make_works(office, charge_pence_per_visit=1_000, charge_pence_per_m3=500)
    make_tanker(office, fixed_pence_per_day=10_000, pence_per_hour=2_000, pence_per_km=90)
    fleet = fleet_of(office)
    found = prices_of(office, fleet.tankers, fleet.works)
    # By hand: 100.00 the day, 4 h at 20.00, 100 km at 0.90; a tip 10.00 and 4 m³ at 5.00.
    assert found.alone_pence == 10_000 + 8_000 + 9_000 + 1_000 + 2_000
    assert (found.emptying_pence, found.year_over_pence) == (240_00, 1200_00)
    assert not found.assumed


def test_a_dearer_year_over_the_limit_makes_waiting_dearer(office):
    job = job_forecast(office, [0.5, 0.5])
    cheap, dear = (worth(job, prices=replace(OURS, year_over_pence=p)) for p in (365_00, 730_00))
    # Half a day over is expected each day: 28 days until the next chance, and the day itself.
    assert dear.value_pence - cheap.value_pence == pytest.approx(0.5 * 28 * 100, abs=1)


def test_what_waiting_costs_is_told_part_by_part(office):
    job = job_forecast(office, [0.5, 0.5], due_on=DAY - dt.timedelta(days=10))
    told = waiting_of(job, DAY, replace(OURS, year_over_pence=365_00))
    assert told.until == DAY + dt.timedelta(days=28)
    assert (told.chance_now, told.chance_then, told.days_over) == (0.5, 0.5, 14)
    assert told.over_pence == 14 * 100
    assert told.overdue_pence == 38 * 500
    assert told.drive_pence == max(ALONE_PENCE, job.value_pence)
    assert told.early_pence == 0
    assert told.total_pence == told.over_pence + told.overdue_pence + told.drive_pence


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
