"""Taking in what a crew's telephone kept while it had no signal: each thing once, in its order."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, transaction

from customers import access
from customers.local_days import zone_at
from scheduler import booking, crew_sheets
from scheduler.delivered_acts import note_stop
from scheduler.delivered_sheets import (
    SentBack,
    as_typed,
    close_delivered,
    dispute_about,
    put_day_right,
)
from scheduler.job_sheets import may_do_visit, require_visit
from scheduler.models import Crew, Delivery, Job, Stop
from servicing.visit_facts import VisitRefused

if TYPE_CHECKING:
    from customers.models import Organisation, User

Kind, State = Delivery.Kind, Delivery.State

# A phone that sets its clock by the network is right to a second. Our own limits.
CLOCK_MAY_BE_OFF = dt.timedelta(minutes=5)


@dataclass(frozen=True, kw_only=True)
class Told:
    """One entry as the telephone tells it. `made_at` and `sent_at` are by the phone's clock."""

    key: uuid.UUID
    kind: str
    made_at: dt.datetime
    sent_at: dt.datetime
    job: Job | None = None
    stop: Stop | None = None
    fields: list[list[str]] = field(default_factory=list)
    seen: dict[str, Any] = field(default_factory=dict)
    sheet_key: uuid.UUID | None = None


@dataclass(frozen=True)
class Clock:
    """How the phone's clock stands to ours, and the moment of an entry put right by it."""

    off_seconds: int | None
    moment: dt.datetime

    @property
    def words(self) -> str:
        """What is said of a wrong clock; nothing of a right one."""
        if self.off_seconds is None:
            return ""
        minutes = round(abs(self.off_seconds) / 60)
        said = f"{minutes // 60} h {minutes % 60} min" if minutes >= 60 else f"{minutes} min"
        way = "ahead" if self.off_seconds > 0 else "behind"
        return (
            f"The telephone's clock was {said} {way}. Times it noted by itself were put right; "
            "look at those that were typed."
        )


def clock_of(told: Told, now: dt.datetime) -> Clock:
    """Compare the phone's clock with ours, and put the moment of the entry right.

    A clock that was wrong and has put itself right meanwhile shows by an entry made after it was
    sent.
    """
    off = told.sent_at - now
    if abs(off) > CLOCK_MAY_BE_OFF:
        return Clock(round(off.total_seconds()), min(told.made_at - off, now))
    ahead = told.made_at - told.sent_at
    if ahead > CLOCK_MAY_BE_OFF:
        return Clock(round(ahead.total_seconds()), now)
    return Clock(None, min(told.made_at, now))


def take_delivery(*, told: Told, by: User, now: dt.datetime) -> Delivery:
    """Apply one entry, or keep it for the crew or the office to settle; a repeat changes nothing.

    Raises PermissionDenied for who may not record visits there.
    """
    before = Delivery.objects.filter(key=told.key).first()
    if before is not None:
        return same_delivery(before, by)
    organisation = sender_of(told, by)
    clock = clock_of(told, now)
    try:
        with transaction.atomic():
            delivery = written_down(told, by, organisation, clock)
            apply(delivery, told, clock, by, now)
    except IntegrityError:
        # The same entry came twice at once; the first has been taken in.
        delivery = same_delivery(Delivery.objects.get(key=told.key), by)
    return delivery


def same_delivery(before: Delivery, by: User) -> Delivery:
    """The entry that a repeated key stands for."""
    if before.sent_by_id != by.pk:
        message = "This was sent by somebody else."
        raise PermissionDenied(message)
    return before


def sender_of(told: Told, by: User) -> Organisation:
    """The organisation for whose crew `by` speaks; PermissionDenied for nobody's."""
    if told.stop is not None:
        return told.stop.round.organisation
    if told.job is not None:
        once = None if may_do_visit(by, told.job) else crew_sheets.had_the_job(by, told.job)
        return once or require_visit(by, told.job)
    # A stop that was planned away, at a works: it is kept with the crew's own firm.
    crew = Crew.objects.visible_to(by).filter(user=by).select_related("organisation").first()
    if crew is None:
        message = "This belongs to no job and no stop."
        raise PermissionDenied(message)
    access.require(by, "visit", crew.organisation)
    return crew.organisation


def written_down(told: Told, by: User, organisation: Organisation, clock: Clock) -> Delivery:
    """Keep the entry as it came, before anything is made of it."""
    return Delivery.objects.create(
        organisation=organisation,
        key=told.key,
        kind=told.kind,
        job=told.job or (told.stop.job if told.stop else None),
        stop=told.stop,
        sent_by=by,
        sheet_key=told.sheet_key,
        made_at=clock.moment,
        clock_off_seconds=clock.off_seconds,
        contents={
            "fields": told.fields,
            "seen": told.seen,
            "made_at": told.made_at.isoformat(),
            "sent_at": told.sent_at.isoformat(),
        },
        state=State.TAKEN,
    )


def apply(delivery: Delivery, told: Told, clock: Clock, by: User, now: dt.datetime) -> None:
    """Do what the entry says, and say what became of it."""
    answer: dict[str, Any] = {"clock": clock.words} if clock.words else {}
    try:
        with transaction.atomic():
            if told.kind in (Kind.SHEET, Kind.ABANDONED):
                take_sheet(delivery, told, by, now)
            elif told.kind != Kind.NOTE:
                note_stop(delivery, as_typed(told.fields), by, now)
    except SentBack as wrong:
        delivery.state = State.SENT_BACK
        delivery.why = str(wrong)
        answer |= wrong.answer
    except VisitRefused as refused:
        delivery.state, delivery.why = State.SENT_BACK, str(refused)[:300]
        answer["errors"] = {"": [str(refused)]}
    except booking.NotPossible as impossible:
        delivery.state, delivery.why = State.DISPUTED, str(impossible)[:300]
    if delivery.why:
        answer["words"] = delivery.why
    delivery.answer = answer
    delivery.save(update_fields=["state", "why", "answer", "visit", "contents", "changed_at"])


def take_sheet(delivery: Delivery, told: Told, by: User, now: dt.datetime) -> None:
    """Record a sheet, unless what the phone had seen of the job no longer holds."""
    job = told.job
    if job is None:
        message = "This sheet belongs to no job."
        raise booking.NotPossible(message)
    zone = zone_at(job.system.premises)
    if delivery.clock_off_seconds is not None:
        put_day_right(delivery, told.made_at.astimezone(zone).date(), zone)
    job = Job.objects.select_for_update(of=("self",)).get(pk=job.pk)
    recorded = job.visit is not None and job.visit.sheet_key == told.sheet_key
    dispute = "" if recorded else dispute_about(job, told.seen, by)
    if dispute:
        raise booking.NotPossible(dispute)
    delivery.visit = close_delivered(delivery, by=by, now=now)
    sent_back = Delivery.objects.filter(sheet_key=told.sheet_key, state=State.SENT_BACK)
    sent_back.update(
        state=State.SET_ASIDE, settled_at=now, settled_how="Put right by the crew and sent again"
    )
