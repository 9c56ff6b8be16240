"""One of everything in one organisation, for tests that walk the whole site."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.utils import timezone

from customers.models import AftercarePlan, Agreement, OwnerLink, Party, Sale
from scheduler.models import (
    CalendarEvent,
    Charge,
    ChargeBatch,
    DayRequest,
    Delivery,
    FeedToken,
    Message,
    PlanRun,
    Reply,
    Round,
    Stop,
    Tip,
    TroubleReport,
)
from servicing.models import Chamber, LetterBatch, Paper, Question, Visit
from tests.make import (
    make_base,
    make_crew,
    make_job,
    make_organisation,
    make_person,
    make_photo,
    make_round,
    make_system,
    make_tanker,
    make_works,
)


def make_world() -> dict[str, Any]:
    """One of everything in one organisation; names are those of the table."""
    organisation = make_organisation()
    now = timezone.now()
    system = make_system(organisation)
    premises, person = system.premises, make_person(organisation)
    party = Party.objects.create(premises=premises, person=person, role="owner")
    job = make_job(system, due_on=dt.date(2027, 1, 5), state="agreed")
    done_job = make_job(system, kind="service", due_on=dt.date(2026, 1, 5), state="done")
    done_job.visit = Visit.objects.create(
        organisation=organisation, system=system, visited_on=dt.date(2026, 1, 5), lid_back_on=True
    )
    done_job.save()
    crew = make_crew(organisation)
    tanker = make_tanker(organisation, crew=crew)
    works = make_works(organisation)
    run = PlanRun.objects.create(
        organisation=organisation,
        first_day=dt.date(2027, 1, 4),
        state="ready",
        settings={
            "jobs": [str(job.public_id)],
            "tankers": [str(tanker.public_id)],
            "works": [str(works.public_id)],
        },
    )
    one_round = Round.objects.create(
        organisation=organisation, run=run, tanker=tanker, crew=crew, day=dt.date(2027, 1, 4)
    )
    times = {"arrive_at": now, "start_at": now, "depart_at": now}
    stop = Stop.objects.create(round=one_round, position=1, kind="job", job=job, **times)
    tip = Stop.objects.create(round=one_round, position=2, kind="tip", works=works, **times)
    plan = AftercarePlan.objects.create(organisation=organisation, name="Watch", price_pence=1)
    return {
        "organisation": organisation,
        "system": system,
        "premises": premises,
        "person": person,
        "party": party,
        "job": job,
        "done_job": done_job,
        "crew": crew,
        "tanker": tanker,
        "run": run,
        "link": OwnerLink.objects.create(
            organisation=organisation, person=person, premises=premises
        ),
        "round": one_round,
        "stop": stop,
        "tip": tip,
        "ticket": Tip.objects.create(
            organisation=organisation,
            tanker=tanker,
            works=works,
            round=one_round,
            stop=tip,
            tipped_at=now,
            litres=2800,
            ticket="T-1",
        ),
        "plan": plan,
        "question": Question.objects.create(
            organisation=organisation,
            system=system,
            code="much_fuller",
            about_on=dt.date(2026, 1, 5),
            text="The measurement of 5 January 2026 is much fuller than expected.",
            choices=["measure_again"],
        ),
        "base": make_base(organisation),
        "visit": done_job.visit,
        "paper": Paper.objects.create(
            organisation=organisation,
            kind="service_record",
            year=2025,
            sequence=1,
            issued_on=dt.date(2025, 12, 1),
            premises=premises,
            system=system,
            facts={},
            content=b"%PDF",
            sha256="0" * 64,
        ),
        "batch": LetterBatch.objects.create(
            organisation=organisation,
            state="ready",
            written_on=dt.date(2026, 1, 5),
            content=b"%PDF",
        ),
        "chamber": Chamber.objects.create(system=system, label="IC1"),
        "agreement": Agreement.objects.create(
            organisation=organisation,
            premises=premises,
            plan=plan,
            starts_on=dt.date(2026, 1, 1),
            ends_on=dt.date(2030, 1, 1),
            price_pence=1,
        ),
        "offer": Agreement.objects.create(
            organisation=organisation,
            premises=premises,
            plan=plan,
            payer=person,
            state="offered",
            offered_text="An offer.",
            starts_on=dt.date(2031, 1, 1),
            ends_on=dt.date(2031, 12, 31),
            price_pence=1,
        ),
        "charge_batch": ChargeBatch.objects.create(
            organisation=organisation,
            number=1,
            made_at=now,
            lines=0,
            net_pence=0,
            vat_pence=0,
            content="batch",
            sha256="0" * 64,
        ),
        "charge": Charge.objects.create(
            organisation=organisation,
            premises=premises,
            key="k",
            service="call_out",
            words="Call-out",
            charged_on=dt.date(2026, 1, 5),
            net_pence=9500,
            vat_percent=20,
            vat_pence=1900,
            vat_standing="check",
            vat_source="s",
        ),
        "message": Message.objects.create(
            organisation=organisation,
            key="k",
            template="reminder",
            to_address="o@home.example",
            subject="s",
            body_text="b",
            next_try_at=now,
            state="dead",
        ),
        "feed": FeedToken.objects.create(organisation=organisation, token_hash="h", crew=crew),
        "report": TroubleReport.objects.create(
            public_id=uuid.uuid4(),
            system=system,
            reported_at=now,
            symptom="smell",
            advice="a",
            priority=3,
        ),
        "reply": Reply.objects.create(
            organisation=organisation,
            event=CalendarEvent.objects.create(
                organisation=organisation,
                uid="u",
                round=make_round(organisation, day=dt.date(2027, 1, 8)),
                attendee_email="crew@office.example",
                dtstamp=now,
                starts_at=now,
                ends_at=now + dt.timedelta(hours=8),
                summary="Round",
            ),
            source_id="<r@office.example>",
            received_at=now,
            verdict="review",
        ),
        "sale": Sale.objects.create(
            organisation=organisation,
            premises=premises,
            completes_on=dt.date(2030, 1, 5),
            buyer_name="Petra",
        ),
        "photo": make_photo(done_job.visit),
        "delivery": Delivery.objects.create(
            organisation=organisation,
            key=uuid.uuid4(),
            kind="sheet",
            job=job,
            made_at=now,
            state="disputed",
            why="The office moved this job.",
        ),
        "wish": DayRequest.objects.create(job=job, asked_at=now),
    }
