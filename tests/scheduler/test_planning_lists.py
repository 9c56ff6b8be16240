"""The lists the office plans from: due by urgency, plans made lately, plans side by side."""

import datetime as dt

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from scheduler import rounds
from scheduler.job_lists import by_urgency, counts_by_span
from scheduler.models import Job, PlanRun, Round
from scheduler.plan_figures import plans_compared, runs_with_outcome, where_it_is
from servicing.models import Forecast
from tests.make import make_crew, make_organisation, make_tanker, make_user, make_works
from tests.scheduler.planning import DAY, THE_DAY_BEFORE, job_at, planned

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def clock():
    with time_machine.travel(THE_DAY_BEFORE, tick=False):
        yield


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def planner(office):
    return make_user(office, "planner")


@pytest.fixture
def tanker(office):
    make_works(office)
    return make_tanker(office, crew=make_crew(office))


@pytest.fixture
def desk(client, planner):
    client.force_login(planner, backend="django.contrib.auth.backends.ModelBackend")
    return client


def due_in(office, days, **fields):
    return job_at(office, due_on=DAY + dt.timedelta(days=days), **fields)


def outcome(run):
    return where_it_is(runs_with_outcome(PlanRun.objects.filter(pk=run.pk)).get())


def test_what_is_due_is_cut_where_it_becomes_less_pressing(office):
    jobs = [due_in(office, -400, urgent=True)]
    jobs += [due_in(office, days) for days in (-91, -2, 0, 7, 8, 31, 91)]
    pieces = [(words, len(rows)) for words, rows in by_urgency(jobs, DAY)]
    assert pieces == [
        ("Urgent", 1),
        ("Overdue by more than three months", 1),
        ("Overdue", 1),
        ("Due within a week", 2),
        ("Due within a month", 1),
        ("Due within three months", 1),
        ("Later", 1),
    ]


def test_the_spans_say_how_much_they_hold(office):
    for days in (-5, -1, 0, 14, 15, 90, 91):
        due_in(office, days)
    due_in(office, 3, state=Job.State.DONE)
    counts = {key: count for key, _, count in counts_by_span(Job.objects.all(), DAY)}
    assert counts == {"overdue": 2, "14": 4, "30": 5, "90": 6}


def test_the_list_shows_its_pieces(desk, office):
    due_in(office, -5)
    page = desk.get(reverse("scheduler:due")).content.decode()
    assert "Overdue <span" in page
    assert '?span=overdue">Overdue: <strong>1</strong>' in page


def test_a_plan_says_what_became_of_it(office, planner, tanker):
    run = planned(office, planner, [tanker], [job_at(office)])
    assert outcome(run) == "Ready to look at"
    [row] = rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner, now=THE_DAY_BEFORE)
    assert outcome(run) == "Accepted"
    rounds.withdraw_round(planned=row, because="Snow", by=planner, now=THE_DAY_BEFORE)
    assert outcome(run) == "Replaced, called off or thrown away"


def test_a_plan_whose_round_another_replaced_is_not_ready_to_look_at(office, planner, tanker):
    job = job_at(office)
    first, second = (planned(office, planner, [tanker], [job]) for _ in range(2))
    for run in (first, second):
        rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner, now=THE_DAY_BEFORE)
    assert outcome(first) == "Replaced, called off or thrown away"
    assert outcome(second) == "Accepted"


def test_a_plan_that_placed_nothing_says_so(office, planner):
    bare = make_tanker(office, capacity_litres=500)
    make_works(office)
    run = planned(office, planner, [bare], [job_at(office)], split_large=False)
    assert outcome(run) == "Nothing could be placed"


def test_who_has_no_tanker_is_told_what_to_do(desk, office):
    page = desk.get(reverse("scheduler:rounds")).content.decode()
    assert "You have no tanker in use" in page
    assert "let a tanker operator drive" in page
    assert "Can carry" not in page
    office.tanker_operator = make_organisation(name="Brimful Tankers")
    office.save()
    assert "Brimful Tankers" in desk.get(reverse("scheduler:rounds")).content.decode()


def test_plans_are_compared_by_what_is_late_and_what_may_go_wrong(office, planner, tanker):
    """By hand: two jobs, 10 and 4 days late: 14 days; chances 0.5 and 0.25 of being over."""
    jobs = [due_in(office, -10), due_in(office, -4)]
    for job, chance in zip(jobs, (0.5, 0.25), strict=True):
        Forecast.objects.create(
            system=job.system,
            organisation=office,
            state="ready",
            made_on=DAY,
            model_version="t",
            due_on=job.due_on,
            over_risk={DAY.isoformat(): chance},
            refreshed_at=timezone.now(),
        )
    run = planned(office, planner, [tanker], jobs)
    [line] = plans_compared(run, left_out=0)
    assert (line.figures.jobs, line.figures.late, line.figures.late_days) == (2, 2, 14)
    assert line.figures.over == pytest.approx(0.75)


def test_the_accepted_round_and_another_plan_stand_beside_it(desk, office, planner, tanker):
    jobs = [job_at(office) for _ in range(2)]
    accepted = planned(office, planner, [tanker], jobs[:1])
    rounds.accept_rounds(run=accepted, rounds=Round.objects.all(), by=planner, now=THE_DAY_BEFORE)
    other, run = (planned(office, planner, [tanker], jobs) for _ in range(2))
    names = [(line.name, line.run) for line in plans_compared(run, left_out=0)]
    assert [name for name, _ in names[:2]] == ["This plan", "Accepted now"]
    assert names[2][1] == other
    page = desk.get(reverse("scheduler:plan_run", args=[run.public_id])).content.decode()
    assert "Over their limit" in page
    assert str(other.public_id) in page
