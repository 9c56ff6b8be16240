"""Somebody who has left traces in every table that could hold one."""

import datetime as dt
import uuid

from customers.models import AftercarePlan, Agreement, ContactPreference, Party, Sale
from scheduler.models import (
    Appointment,
    CalendarEvent,
    Call,
    DayRequest,
    Delivery,
    Message,
    Reply,
    TroubleReport,
)
from scheduler.owner_links import owner_url
from servicing.models import LetterBatch, Occupancy, OperatorCheck, Visit
from servicing.registration import refresh_search_text_at
from tests.make import make_job, make_system

NOW = dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC)
LATER = NOW + dt.timedelta(hours=2)
TODAY = NOW.date()
NAME, EMAIL, PHONE = "Petra Ålund", "petra@home.example", "01632 960 222"
STROKES = "M10 90L60 20L110 90L160 20L210 90L260 20L310 90L360 20"


def left(petra):
    """She was owner of a house with all that leaves traces, and has gone."""
    firm = petra.organisation
    system = make_system(
        firm, lid_note=f"Ask {NAME}", registration_holder=NAME, notes=f"{PHONE} in the evening"
    )
    place = system.premises
    place.access_note = f"Key with {NAME} ({PHONE})"
    place.save()
    Party.objects.create(premises=place, person=petra, role="owner", until=dt.date(2026, 11, 1))
    refresh_search_text_at(place)
    owner_url(premises=place, person=petra)
    job = make_job(system, due_on=TODAY, notes=f"{NAME} wants a morning", why=f"{NAME} rang")
    appointment = Appointment.objects.create(
        job=job, starts_at=NOW, ends_at=LATER, cancelled_because=f"{EMAIL} asked"
    )
    told(petra, system, job)
    written_to(petra, job, appointment)
    signed(petra, system)
    sent_by_telephone(petra, job)
    return system


def told(petra, system, job):
    Occupancy.objects.filter(system=system).update(told_by=NAME)
    system.occupancies.get().save()
    TroubleReport.objects.create(
        public_id=uuid.uuid4(),
        system=system,
        person=petra,
        reported_at=NOW,
        symptom="smell",
        words=f"Ring {PHONE}",
        advice="a",
        priority=3,
    )
    DayRequest.objects.create(job=job, person=petra, asked_at=NOW, words=f"Best, {NAME}")
    OperatorCheck.objects.create(
        organisation=petra.organisation, system=system, checked_on=TODAY, words=NAME, person=petra
    )
    Call.objects.create(
        organisation=petra.organisation, key="c", job=job, person=petra, why=f"Ring {NAME}"
    )
    ContactPreference.objects.create(
        person=petra,
        channel="email",
        message_class="service",
        allowed=True,
        recorded_at=NOW,
        how=f"{NAME} by telephone",
    )


def written_to(petra, job, appointment):
    firm = petra.organisation
    event = CalendarEvent.objects.create(
        organisation=firm,
        uid="u",
        appointment=appointment,
        attendee_name=NAME,
        attendee_email=EMAIL,
        dtstamp=NOW,
        starts_at=NOW,
        ends_at=LATER,
        summary="Emptying",
        description=f"For {NAME}",
    )
    message = letter_to(petra, job, event)
    answered(firm, event)
    LetterBatch.objects.create(
        organisation=firm,
        state="posted",
        written_on=TODAY,
        letters=[str(message.public_id)],
        content=b"%PDF",
        sha256="0" * 64,
    )


def letter_to(petra, job, event):
    firm = petra.organisation
    return Message.objects.create(
        organisation=firm,
        key="m",
        template="offer",
        person=petra,
        job=job,
        event=event,
        channel="post",
        to_name=NAME,
        to_address=f"{NAME}, Mill Lane",
        subject=f"For {NAME}",
        body_text=f"Hello {NAME}",
        body_html=f"<p>{NAME}</p>",
        calendar_text=f"ATTENDEE:{EMAIL}",
        next_try_at=NOW,
        state="sent",
        sent_at=NOW,
    )


def answered(firm, event):
    Reply.objects.create(
        organisation=firm,
        event=event,
        source_id="r",
        received_at=NOW,
        from_address=EMAIL,
        verdict="applied",
        raw=f"From: {NAME} <{EMAIL}>",
    )


def sent_by_telephone(petra, job):
    """A sheet and a note as the telephone sent them, the sheet with the clock put right."""
    fields = [
        ["who_was_present", NAME],
        ["notes", f"{NAME} was pleased, {PHONE}"],
        ["signed_how", "drawn"],
        ["signed_by", NAME],
        ["signature", STROKES],
    ]
    Delivery.objects.create(
        organisation=petra.organisation,
        key=uuid.uuid4(),
        kind="sheet",
        job=job,
        sheet_key=uuid.uuid4(),
        made_at=NOW,
        contents={"fields": fields, "fields_as_sent": fields, "seen": {}},
        state="disputed",
        answer={"words": f"{NAME} signed already"},
        why=f"{NAME} rang meanwhile",
        settled_how=f"Spoke to {NAME}",
    )


def signed(petra, system):
    firm = petra.organisation
    Visit.objects.create(
        organisation=firm,
        system=system,
        visited_on=dt.date(2026, 5, 1),
        lid_back_on=True,
        who_was_present=NAME,
        signed_by=NAME,
        signature="M0 0L9 9",
        signed_how="drawn",
        notes=f"{NAME} was pleased",
    )
    plan = AftercarePlan.objects.create(organisation=firm, name="Watch", price_pence=1)
    Agreement.objects.create(
        organisation=firm,
        premises=system.premises,
        plan=plan,
        payer=petra,
        starts_on=dt.date(2025, 1, 1),
        ends_on=dt.date(2025, 12, 31),
        price_pence=1,
        ended_reason=f"{NAME} sold",
    )
    Sale.objects.create(
        organisation=firm,
        premises=system.premises,
        completes_on=TODAY,
        buyer_name=NAME,
        buyer_email=EMAIL,
        buyer_phone=PHONE,
        buyer=petra,
        completed_at=NOW,
    )
