"""Work by week for a year. The expected numbers are counted by hand beside each test: no source."""

import datetime as dt

import pytest
from django.utils import timezone

from scheduler.models import TankerDayOff
from scheduler.work_ahead import weeks_ahead
from servicing.models import Forecast
from tests.make import make_job, make_organisation, make_premises, make_system, make_tanker

MONDAY = dt.date(2027, 3, 1)
pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_organisation()


def forecast(office, *, since, due, litres):
    """A system whose cycle began and falls due so many days from the Monday."""
    system = make_system(premises=make_premises(office))
    Forecast.objects.create(
        system=system,
        organisation=office,
        state="ready",
        made_on=MONDAY,
        model_version="t",
        since=MONDAY + dt.timedelta(days=since),
        due_on=MONDAY + dt.timedelta(days=due),
        working_volume_litres=litres,
        refreshed_at=timezone.now(),
    )
    return system


def expected_in(weeks):
    return {number: week.expected for number, week in enumerate(weeks) if week.expected}


def test_a_cesspool_is_counted_each_time_it_fills(office):
    """Every 60 days from day 40: days 40, 100, 160, 220, 280, 340 of 364.

    In weeks of seven from the Monday: 5, 14, 22, 31, 40, 48.
    """
    forecast(office, since=-20, due=40, litres=18_000)
    weeks = weeks_ahead(organisation=office, today=MONDAY)
    assert expected_in(weeks) == {5: 1, 14: 1, 22: 1, 31: 1, 40: 1, 48: 1}
    assert sum(week.litres for week in weeks) == 6 * 18_000


def test_a_tank_of_three_years_is_counted_once(office):
    forecast(office, since=-1000, due=95, litres=2800)
    assert expected_in(weeks_ahead(organisation=office, today=MONDAY)) == {13: 1}


def test_what_is_overdue_is_emptied_now_and_repeats_from_then(office):
    """Due 30 days ago, every 90 days: now, then days 90, 180, 270, 360: weeks 0, 12, 25, 38, 51."""
    forecast(office, since=-120, due=-30, litres=9_000)
    weeks = weeks_ahead(organisation=office, today=MONDAY)
    assert expected_in(weeks) == {0: 1, 12: 1, 25: 1, 38: 1, 51: 1}


def test_a_job_counts_as_a_job_and_only_what_follows_it_as_expected(office):
    """A job on day 10, then every 120 days: days 130, 250; day 370 is beyond the year."""
    system = forecast(office, since=-110, due=10, litres=4_000)
    make_job(system, due_on=MONDAY + dt.timedelta(days=10), litres=4_000, minutes=40)
    weeks = weeks_ahead(organisation=office, today=MONDAY)
    assert [week.jobs for week in weeks[:3]] == [0, 1, 0]
    assert expected_in(weeks) == {18: 1, 35: 1}


def test_hours_and_litres_of_a_week_against_what_there_is(office):
    """One 9,000 L tanker, shift 07:00 to 16:30 less 45 minutes: 8 h 45 a day.

    The week has a day off, and the one from 22 March Good Friday the 26th. Due in week 0:
    12,000 L and 6,000 L: on site 60 and 45 minutes, 2 × 20 driving, 2 loads × 50: 4 h 05.
    """
    tanker = make_tanker(office)
    TankerDayOff.objects.create(tanker=tanker, day=MONDAY)
    forecast(office, since=-700, due=2, litres=12_000)
    forecast(office, since=-700, due=3, litres=6_000)
    weeks = weeks_ahead(organisation=office, today=MONDAY)
    assert weeks[0].litres == 18_000
    assert weeks[0].hours == pytest.approx(4 + 5 / 60)
    assert weeks[0].capacity_litres == 4 * 2 * 9_000
    assert weeks[0].hours_there_are == pytest.approx(4 * 8.75)
    assert not weeks[0].over
    assert weeks[1].capacity_litres == 5 * 2 * 9_000
    assert weeks[3].capacity_litres == 4 * 2 * 9_000


def test_a_system_out_of_use_is_not_counted(office):
    system = forecast(office, since=-100, due=20, litres=3_000)
    system.retired_on = MONDAY
    system.save()
    assert expected_in(weeks_ahead(organisation=office, today=MONDAY)) == {}


def test_at_the_weekend_what_is_overdue_stands_in_the_coming_week(office):
    make_tanker(office)
    forecast(office, since=-400, due=-3, litres=2_800)
    [week] = weeks_ahead(organisation=office, today=MONDAY + dt.timedelta(days=5), count=1)
    assert week.monday == MONDAY + dt.timedelta(days=7)
    assert (week.expected, week.capacity_litres) == (1, 5 * 2 * 9_000)


def test_who_has_no_tanker_sees_the_work_at_its_own_systems(office):
    operator = make_organisation()
    job = make_job(forecast(office, since=-900, due=3, litres=2_800), due_on=MONDAY)
    job.handed_to = operator
    job.save()
    [mine] = weeks_ahead(organisation=office, today=MONDAY, count=1)
    assert (mine.jobs, mine.expected, mine.capacity_litres) == (1, 0, 0)
