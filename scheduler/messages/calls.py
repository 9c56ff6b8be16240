"""Who wants ringing because messages did not help or cannot be sent, and what came of it."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q

from customers import access
from customers.models import Party
from scheduler.messages.steps import TELEPHONE_AFTER_DAYS
from scheduler.messages.unsettled import MAY_BE_ASKED, unsettled_jobs
from scheduler.models import Call, Job

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date

    from django.db.models import QuerySet

    from customers.models import Organisation, Person, User
    from scheduler.models.jobs import JobQuerySet

# From the second offer on it is time to speak to somebody who cannot be written to.
NEAR_DAYS = 30
# Days for which a call rests the next one about the same job: common practice, no source.
RESTS = {Call.Outcome.NO_ANSWER: 2, Call.Outcome.AGREED: 7}
MOST = 500
ANNOYED_AFTER = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class Wanted:
    """A call to make: about what, why, whom to ask for, and the row where there is one."""

    job: Job
    why: str
    people: list[Person]
    last: Call | None = None
    call: Call | None = None


def jobs_to_ring(organisation: Organisation, today: date) -> JobQuerySet:
    """Jobs that messages did not settle or cannot, the longest due first; not those just rung."""
    near = unsettled_jobs(organisation, today).filter(due_on__lte=today + timedelta(days=NEAR_DAYS))
    overdue = Q(due_on__lte=today - timedelta(days=TELEPHONE_AFTER_DAYS))
    midnight = datetime.combine(today, time(), tzinfo=UTC)
    resting = Q()
    for outcome, days in RESTS.items():
        resting |= Q(outcome=outcome, rung_at__gte=midnight - timedelta(days=days - 1))
    rung = Call.objects.filter(resting, job=OuterRef("pk"))
    return near.filter(overdue | ~MAY_BE_ASKED).exclude(Exists(rung)).order_by("due_on", "pk")


def news_to_ring(organisation: Organisation, now: datetime) -> QuerySet[Call]:
    """News of visits that a letter would bring too late, the nearest visit first."""
    return (
        Call.objects.filter(organisation=organisation, outcome="", useful_until__gt=now)
        .select_related("job__system__premises", "job__organisation", "person")
        .order_by("useful_until", "pk")
    )


def count_to_ring(organisation: Organisation, now: datetime, today: date) -> int:
    """How many calls wait; counted no further than a page shows."""
    jobs = jobs_to_ring(organisation, today).order_by()[:MOST].count()
    return jobs + news_to_ring(organisation, now).order_by()[:MOST].count()


def news_wanted(calls: Iterable[Call]) -> list[Wanted]:
    """Calls about near visits as lines of the page."""
    return [
        Wanted(call.job, call.why, [call.person] if call.person else [], call=call)
        for call in calls
    ]


def jobs_wanted(jobs: Iterable[Job], today: date) -> list[Wanted]:
    """Unsettled jobs as lines of the page, in three queries however many."""
    rows = list(jobs)
    places = {job.system.premises_id for job in rows}
    people: dict[int, list[Person]] = {}
    current = Party.objects.filter(
        Q(since__isnull=True) | Q(since__lte=today),
        Q(until__isnull=True) | Q(until__gte=today),
        premises__in=places,
    )
    for party in current.select_related("person").order_by("pk"):
        known = people.setdefault(party.premises_id, [])
        if party.person not in known:
            known.append(party.person)
    made = Call.objects.filter(job__in=rows).exclude(outcome="").order_by("rung_at", "pk")
    last = {call.job_id: call for call in made}
    return [
        Wanted(job, _why(job, today), people.get(job.system.premises_id, []), last.get(job.pk))
        for job in rows
    ]


def _why(job: Job, today: date) -> str:
    if job.due_on <= today - timedelta(days=TELEPHONE_AFTER_DAYS):
        return "Long overdue, and no day is settled."
    if not getattr(job, "reachable", False):
        return "No e-mail or postal address to write to."
    return "No agreement, and no consent to be written to about booking."


def want_call(
    *, key: str, job: Job, person: Person, why: str, useful_until: datetime
) -> Call | None:
    """Note that somebody must be rung; None where it was noted before."""
    call, is_new = Call.objects.get_or_create(
        key=key,
        defaults={
            "organisation": job.organisation,
            "job": job,
            "person": person,
            "why": why[:300],
            "useful_until": useful_until,
        },
    )
    return call if is_new else None


@transaction.atomic
def note_rung(
    *, job: Job, outcome: str, by: User, now: datetime, call: Call | None = None, words: str = ""
) -> bool:
    """Write down what came of a call; False where the same was written a moment ago."""
    access.require(by, "tell", job.organisation)
    outcome = Call.Outcome(outcome)
    made = {"outcome": outcome, "words": words[:500], "rung_at": now, "rung_by": by}
    if call is not None:
        if outcome == Call.Outcome.NO_ANSWER:
            return _note_no_answer(call, made)
        waiting = Call.objects.filter(pk=call.pk, outcome="")
        return waiting.update(changed_at=now, **made) == 1
    just_now = Call.objects.filter(job=job, outcome=outcome, rung_at__gt=now - ANNOYED_AFTER)
    if just_now.exists():
        return False
    Call.objects.create(
        organisation=job.organisation,
        job=job,
        key=f"rung:{uuid.uuid4().hex}",
        why="No day was settled.",
        **made,
    )
    return True


def _note_no_answer(call: Call, made: dict[str, object]) -> bool:
    """Nobody answered: that is written down beside, and the call still waits to be made."""
    if call.outcome:
        return False
    moment = made["rung_at"]
    assert isinstance(moment, datetime)
    _, is_new = Call.objects.get_or_create(
        key=f"{call.key}:no-answer:{moment:%Y%m%d%H%M}",
        defaults={
            "organisation": call.organisation,
            "job": call.job,
            "person": call.person,
            "why": call.why,
            **made,
        },
    )
    return is_new
