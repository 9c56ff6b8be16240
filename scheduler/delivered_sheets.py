"""A sheet as a telephone sent it: read by the same forms as the page, compared with what stands."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.http import QueryDict
from django.utils.dateparse import parse_datetime

from customers.local_days import zone_at
from scheduler import crew_sheets
from scheduler.forms.sheet_parts import AbandonSheet, JobSheet
from scheduler.job_sheets import close_job_sheet, may_do_visit, require_visit
from scheduler.models import Delivery, Job
from servicing.visit_facts import VisitFound, VisitRefused

if TYPE_CHECKING:
    import zoneinfo
    from collections.abc import Sequence

    from customers.models import User
    from servicing.models import Visit

DAY_FIELDS = ("visited_on", "left-undone-visited_on")


class SentBack(ValueError):
    """The sheet does not hold; `answer` says at which fields and why."""

    def __init__(self, answer: dict[str, Any]) -> None:
        super().__init__("Something on it needs putting right on the telephone.")
        self.answer = answer


def as_typed(fields: Sequence[Sequence[str]]) -> QueryDict:
    """Fields as a form's page would have posted them."""
    data = QueryDict(mutable=True)
    for name, value in fields:
        data.appendlist(name, value)
    return data


def put_day_right(delivery: Delivery, phones_day: dt.date, zone: zoneinfo.ZoneInfo) -> None:
    """Where the sheet has the day of a clock that was wrong, put in the day it really was."""
    really = delivery.made_at.astimezone(zone).date()
    off = dt.timedelta(seconds=delivery.clock_off_seconds or 0)
    before = delivery.contents.get("fields", [])
    put_right = []
    for name, value in before:
        said = value
        if name in DAY_FIELDS and value == phones_day.isoformat():
            said = really.isoformat()
        elif name == "cautions_at" and value:
            moment = parse_datetime(value)
            said = (moment - off).isoformat() if moment else ""
        put_right.append([name, said])
    if put_right != before:
        delivery.contents = {**delivery.contents, "fields": put_right, "fields_as_sent": before}


def seen_of(job: Job, user: User) -> dict[str, str]:
    """What a telephone takes along of a job, to be compared when its sheet comes in."""
    stop = crew_sheets.stop_of(job, require_visit(user, job)) if may_do_visit(user, job) else None
    promised = job.appointments.filter(cancelled_at__isnull=True).first()
    zone = zone_at(job.system.premises)
    return {
        "driven_by": str(job.driven_by.public_id),
        "round_day": stop.round.day.isoformat() if stop else "",
        "tanker": str(stop.round.tanker.public_id) if stop else "",
        "promised_day": promised.starts_at.astimezone(zone).date().isoformat() if promised else "",
    }


def dispute_about(job: Job, seen: dict[str, Any], by: User) -> str:
    """Why this sheet may not simply be recorded; empty where nothing changed meanwhile."""
    if not job.is_open:
        done = job.visit.crew_name or "another crew" if job.visit else ""
        after = f", recorded by {done} on {job.visit.visited_on:%-d %B}" if job.visit else ""
        return (
            f"This job is {job.get_state_display().lower()} already{after}. "
            "Your sheet is kept whole; the office settles which stands."
        )
    if not seen:
        return ""
    now = seen_of(job, by)
    kept = "Your sheet is kept whole; the office settles what stands."
    if seen.get("driven_by") != now["driven_by"]:
        return f"The office gave this job to {job.driven_by} while you had no signal. {kept}"
    day = now["round_day"] or now["promised_day"]
    if (seen.get("round_day") or seen.get("promised_day")) != day:
        when = f"to {dt.date.fromisoformat(day):%A %-d %B}" if day else "off your round"
        return f"The office moved this job {when} while you had no signal. {kept}"
    if seen.get("tanker") and now["tanker"] and seen["tanker"] != now["tanker"]:
        return f"The office put this job on another tanker while you had no signal. {kept}"
    return ""


def sheet_of(delivery: Delivery, *, sure: bool = False) -> JobSheet | AbandonSheet:
    """The forms of a delivered sheet, filled in as they were on the telephone."""
    job = delivery.job
    assert job is not None
    data = as_typed(delivery.contents.get("fields", []))
    abandoned = delivery.kind == Delivery.Kind.ABANDONED
    if sure:
        data["left-undone-sure" if abandoned else "sure"] = "on"
    if abandoned:
        return AbandonSheet(job=job, data=data)
    units = delivery.organisation.units
    return JobSheet(job=job, units=units, data=data)


def found_in(sheet: JobSheet | AbandonSheet, delivery: Delivery) -> VisitFound:
    """What the crew says. Raises SentBack with what the forms refuse."""
    if not sheet.is_valid():
        raise SentBack(faults_of(sheet))
    stop = crew_sheets.stop_of(sheet.job, delivery.organisation)
    return sheet.found(tanker_litres=stop.round.tanker.capacity_litres if stop else None)


def close_delivered(delivery: Delivery, *, by: User, now: dt.datetime) -> Visit:
    """Record a delivered sheet; raises SentBack, with the fields, for what cannot be."""
    job = delivery.job
    assert job is not None
    sheet = sheet_of(delivery)
    found = found_in(sheet, delivery)
    try:
        return close_job_sheet(job=job, found=found, by=by, now=now)
    except VisitRefused as refused:
        sheet.add_refusals(refused.refusals)
        raise SentBack(faults_of(sheet)) from refused


def faults_of(sheet: JobSheet | AbandonSheet) -> dict[str, Any]:
    """What is wrong, by the names the fields have on the page."""
    errors: dict[str, list[str]] = {}
    for form in sheet.forms:
        for name, texts in form.errors.items():
            place = "" if name == "__all__" else form.add_prefix(name)
            errors.setdefault(place, []).extend(str(text) for text in texts)
    return {"errors": errors, "confirm": sheet.asks_to_confirm}
