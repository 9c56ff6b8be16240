"""Plans made and accepted in tests."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from scheduler import round_plans, rounds
from scheduler.models import PlanRun
from scheduler.round_plans import PlanSettings
from tests.make import make_job, make_premises, make_system

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Organisation, User
    from scheduler.models import Job, Round, Tanker

DAY = dt.date(2027, 3, 2)
THE_DAY_BEFORE = dt.datetime(2027, 3, 1, 9, 0, tzinfo=dt.UTC)


def job_at(office: Organisation, **fields: Any) -> Job:
    """A job that is due, at premises of its own."""
    premises = make_premises(office, **fields.pop("premises", {}))
    system = make_system(premises=premises, **fields.pop("system", {}))
    return make_job(system, **{"due_on": DAY, **fields})


def settings_for(tankers: Sequence[Tanker], jobs: Sequence[Job], **more: Any) -> PlanSettings:
    """Settings of a short search that gives the same plan each time."""
    return PlanSettings(
        tankers=tuple(str(one.public_id) for one in tankers),
        jobs=tuple(str(one.public_id) for one in jobs),
        **{"iterations": 30, **more},
    )


def planned(
    office: Organisation,
    planner: User,
    tankers: Sequence[Tanker],
    jobs: Sequence[Job],
    **more: Any,
) -> PlanRun:
    """A run of one day, or of `days`, worked to its end."""
    run = round_plans.start_plan(
        organisation=office,
        first_day=more.pop("first_day", DAY),
        days=more.pop("days", 1),
        by=planner,
        settings=settings_for(tankers, jobs, **more),
    )
    assert round_plans.run_plan(run.pk)
    return PlanRun.objects.get(pk=run.pk)


def accepted_day(
    office: Organisation,
    planner: User,
    tankers: Sequence[Tanker],
    jobs: Sequence[Job],
    **more: Any,
) -> list[Round]:
    """The rounds of that day, accepted on the day before."""
    run = planned(office, planner, tankers, jobs, **more)
    return rounds.accept_rounds(run=run, rounds=run.rounds.all(), by=planner, now=THE_DAY_BEFORE)
