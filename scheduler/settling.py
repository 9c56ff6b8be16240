"""What the office does with a sheet that met a job changed meanwhile: nothing is overwritten."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from scheduler import booking
from scheduler.delivered_sheets import SentBack, found_in, sheet_of
from scheduler.job_sheets import close_job_sheet, correct_job_sheet, today_at
from scheduler.models import Delivery, Job
from servicing.models import Visit
from servicing.visit_facts import VisitRefused
from servicing.visits import record_visit

if TYPE_CHECKING:
    from customers.models import User

State = Delivery.State


def ways_to_settle(delivery: Delivery) -> dict[str, str]:
    """What can be done with it, in the words of its button."""
    if delivery.state not in (State.DISPUTED, State.SENT_BACK):
        return {}
    ways = {}
    job = delivery.job
    if delivery.kind in (Delivery.Kind.SHEET, Delivery.Kind.ABANDONED) and job is not None:
        if job.is_open:
            ways["record"] = "Record this sheet: it closes the job"
        elif delivery.kind == Delivery.Kind.SHEET:
            if job.visit is not None and job.state == Job.State.DONE:
                ways["instead"] = "Let this sheet take the recorded one's place"
            ways["beside"] = "Both happened: record this visit as well"
    ways["aside"] = "Set it aside, kept to read"
    return ways


@transaction.atomic
def settle(
    *, delivery: Delivery, how: str, words: str = "", by: User, now: dt.datetime
) -> Delivery:
    """Say what stands. Raises NotPossible, in words, for what cannot be done with it now."""
    access.require_change(by, delivery)
    delivery = (
        Delivery.objects.select_for_update(of=("self",))
        .select_related("organisation", "job__system__premises__organisation")
        .get(pk=delivery.pk)
    )
    ways = ways_to_settle(delivery)
    if how not in ways:
        message = "This has been settled already, or cannot be settled so."
        raise booking.NotPossible(message)
    if how != "aside":
        delivery.visit = recorded(delivery, how, by, now)
    delivery.state = State.SET_ASIDE if how == "aside" else State.TAKEN
    delivery.settled_at, delivery.settled_by = now, by
    delivery.settled_how = f"{ways[how]}. {words}".strip()[:300]
    delivery.save(
        update_fields=["state", "visit", "settled_at", "settled_by", "settled_how", "changed_at"]
    )
    return delivery


def recorded(delivery: Delivery, how: str, by: User, now: dt.datetime) -> Visit:
    """The visit that the sheet becomes."""
    job = delivery.job
    assert job is not None
    try:
        found = found_in(sheet_of(delivery, sure=True), delivery)
        if how == "record":
            return close_job_sheet(job=job, found=found, by=by, now=now)
        if how == "instead":
            return correct_job_sheet(job=job, found=found, by=by, now=now)
        return record_visit(
            system=job.system,
            found=found,
            by=by,
            today=today_at(job.system.premises, now),
            done_by=delivery.organisation,
        )
    except SentBack as wrong:
        texts = [text for some in wrong.answer["errors"].values() for text in some]
        raise booking.NotPossible(" ".join(texts)) from wrong
    except VisitRefused as refused:
        raise booking.NotPossible(str(refused)) from refused
