"""A day in the life of the valley: a round for Tess today, trouble reported, another day wanted."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils import timezone

from customers.local_days import at_local, local_today, zone_of
from customers.models import Organisation, Party, User
from scheduler import booking, owner_requests, round_plans, rounds
from scheduler.models import Job, PlanRun, Round, Stop, Tanker
from scheduler.owner_links import owner_url
from scheduler.round_plans import LocalClock, PlanSettings

if TYPE_CHECKING:
    from customers.models import Person, Premises

SEARCH_STEPS = 150
MOST_JOBS = 8
SETTLED_AT = dt.time(4)  # the office settled today's round before anybody was up
OMAR = "Omar Inglewater"
WISH_NUMBER, TROUBLE_NUMBER = 3, 11  # which of those who wait asks for another day, has trouble


def add_today(installer: Organisation, operator: Organisation) -> None:
    """A round accepted for today, a day offered and asked to be another, trouble not yet seen."""
    add_round(operator)
    wish = _waiting(installer)[WISH_NUMBER]
    ask_for_another_day(wish)
    place, person = _owners(installer)[TROUBLE_NUMBER]
    owner_requests.report_trouble(
        system=place.systems.earliest("pk"),
        person=person,
        sign="all_slow",
        words="The sink and the shower both gurgle since Sunday.",
        key=uuid.uuid4(),
        now=timezone.now(),
    )


def add_round(operator: Organisation) -> None:
    """Plan today's round of the smaller tanker by the real planner, and accept it."""
    planner = User.objects.get(email="merryn@brindle.example")
    tanker = Tanker.objects.filter(organisation=operator).earliest("capacity_litres")
    today = local_today(operator)
    jobs = round_plans.candidates(
        organisation=operator,
        clock=LocalClock.of(operator),
        first_day=today,
        last_day=today,
        tankers=[tanker],
    )
    fitting = [job for job in jobs if job.litres <= tanker.capacity_litres][:MOST_JOBS]
    run = round_plans.start_plan(
        organisation=operator,
        first_day=today,
        days=1,
        by=planner,
        settings=PlanSettings(
            tankers=(str(tanker.public_id),),
            jobs=tuple(str(job.public_id) for job in fitting),
            iterations=SEARCH_STEPS,
        ),
    )
    round_plans.run_plan(run.pk)
    rounds.accept_rounds(
        run=PlanRun.objects.get(pk=run.pk),
        rounds=Round.objects.filter(run=run),
        by=planner,
        now=at_local(today, SETTLED_AT, zone_of(operator)),
    )


def ask_for_another_day(job: Job) -> None:
    """A day is offered, and the owner would rather have one of two others."""
    office = User.objects.get(email="ines@larkholt.example")
    zone = zone_of(job.organisation)
    today = local_today(job.organisation)
    offered = today + dt.timedelta(days=12)
    booking.offer(
        job=job,
        starts_at=at_local(offered, dt.time(9), zone),
        ends_at=at_local(offered, dt.time(12), zone),
        by=office,
    )
    party = Party.objects.filter(premises=job.system.premises).order_by("pk").first()
    booking.ask_other_day(
        job=job,
        person=party.person if party else None,
        days=[today + dt.timedelta(days=number) for number in (14, 15)],
        words="We are away that week.",
    )


def _waiting(installer: Organisation) -> list[Job]:
    """Jobs nobody has been told about and that stand on no round, by due date."""
    on_rounds = Stop.objects.filter(job__isnull=False).values("job")
    wanted = Job.objects.filter(organisation=installer, state=Job.State.WANTED)
    emptyings = wanted.filter(kind=Job.Kind.EMPTYING).exclude(pk__in=on_rounds)
    return list(
        emptyings.select_related("organisation", "system__premises").order_by("-due_on", "pk")
    )


def _owners(installer: Organisation) -> list[tuple[Premises, Person]]:
    """Places with a system and their owners, in the order they were registered."""
    parties = Party.objects.filter(
        premises__organisation=installer, role=Party.Role.OWNER, premises__systems__isnull=False
    ).exclude(person__name=OMAR)
    chosen = parties.select_related("premises", "person").distinct().order_by("pk")
    return [(party.premises, party.person) for party in chosen]


def omars_page() -> str:
    """Address of Omar's own page, as it would stand in a letter to him; empty without an Omar."""
    parties = Party.objects.filter(person__name=OMAR).select_related("premises", "person")
    party = parties.order_by("pk").first()
    if party is None:
        return ""
    path = owner_url(premises=party.premises, person=party.person)
    return f"{settings.SITE_ADDRESS}{path}"
