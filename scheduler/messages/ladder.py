"""Writing the reminders that are due; run often, it writes each of them once."""

from __future__ import annotations

import logging
from datetime import UTC, datetime, time, timedelta
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from django.db import DatabaseError, transaction
from django.utils import timezone

from customers.models import Agreement, Organisation
from scheduler.messages import consent, steps, visits_told
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.letters import comes_too_late, in_time
from scheduler.messages.monthly_checks import write_check_reminders
from scheduler.messages.own_ladder import ladder_of
from scheduler.messages.quiet_hours import is_bank_holiday, reminder_moment
from scheduler.messages.recipients import POST, who_decides, who_expects_us
from scheduler.messages.seasonal import write_fat_notes
from scheduler.messages.timing import holiday_region, hours_of
from scheduler.messages.unsettled import MAY_BE_ASKED, unsettled_jobs
from scheduler.messages.words import job_facts, local_day, span_in_words
from scheduler.models import Appointment, Job, Message

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import date

    from scheduler.messages.own_ladder import Ladder, OwnWords
    from scheduler.messages.recipients import Recipient
    from scheduler.messages.steps import Rung
    from scheduler.models import CalendarEvent
    from scheduler.models.jobs import AppointmentQuerySet

logger = logging.getLogger(__name__)


def plan_reminders(*, now: datetime | None = None) -> int:
    """Write every reminder whose day has come; give the number of new messages."""
    now = now or timezone.now()
    written = 0
    for organisation in Organisation.objects.select_related("profile", "telling_rules"):
        today = local_day(now, organisation.time_zone)
        jobs = unsettled_jobs(organisation, today)
        ladder, region = ladder_of(organisation), holiday_region(organisation)
        told = set(
            Message.objects.filter(job__in=jobs, template__in=[s.name for s in steps.OFFERS])
            .order_by()
            .values_list("job", "template")
        )
        for job in jobs.filter(MAY_BE_ASKED).iterator():
            rung = steps.offer_rung(today, job.due_on, offers=ladder.offers, region=region)
            if rung is not None and (job.pk, rung.step.name) not in told:
                written += _one(remind_to_book, job, ladder, now)
        for appointment in coming_visits(organisation, now).iterator():
            written += _one(remind_of_visit, appointment, ladder, now)
        written += write_fat_notes(organisation, now)
        written += write_check_reminders(organisation, now)
    return written


Row = TypeVar("Row", Job, Appointment)


def _one(write: Callable[..., int], row: Row, ladder: Ladder, now: datetime) -> int:
    """Write one reminder; what cannot be written does not stop the others, and is tried again."""
    try:
        return write(row, ladder=ladder, now=now)
    except DatabaseError:
        raise  # not about this row
    except Exception:
        logger.exception("A reminder could not be written: %s %s", type(row).__name__, row.pk)
        return 0


def coming_visits(organisation: Organisation, now: datetime) -> AppointmentQuerySet:
    """Agreed visits within the next days that still stand."""
    return (
        Appointment.objects.standing()
        .filter(
            job__organisation=organisation,
            agreed_at__isnull=False,
            starts_at__gt=now,
            starts_at__lte=now + timedelta(days=16),
        )
        .select_related("job__system__premises__organisation", "job__organisation__profile")
    )


@transaction.atomic
def remind_to_book(job: Job, *, ladder: Ladder, now: datetime) -> int:
    """Write the offer or the overdue reminder a job has reached, to each who decides."""
    premises = job.system.premises
    today = local_day(now, premises.zone_name)
    region = holiday_region(job.organisation)
    rung = steps.offer_rung(today, job.due_on, offers=ladder.offers, region=region)
    if rung is None:
        return 0
    message_class = class_of(job, today)
    written = 0
    for recipient in who_decides(premises, today):
        own = ladder.words.get(rung.step.name)
        draft = _draft(job, recipient, rung, now, message_class=message_class, own=own)
        written += write_down(draft) is not None
    return written


def class_of(job: Job, today: date) -> str:
    """A reminder under a current agreement serves it; to anybody else it is marketing.

    Privacy and Electronic Communications Regulations 2003: a neutral message about an existing
    contract is none, an invitation to book is direct marketing (common reading, not advice).
    """
    agreed = Agreement.objects.filter(premises=job.system.premises).current(today)
    return consent.SERVICE if agreed.exists() else consent.MARKETING


@transaction.atomic
def remind_of_visit(appointment: Appointment, *, ladder: Ladder, now: datetime) -> int:
    """Write the reminder an agreed visit has reached, to each who expects it."""
    # A part in the place may begin or end by its date alone: the calendars follow here.
    if appointment.events.exists():
        visits_told.tell(appointment, now=now)
    job = appointment.job
    premises = job.system.premises
    zone = premises.zone_name
    today = local_day(now, zone)
    visit_on = local_day(appointment.starts_at, zone)
    booked_on = local_day(appointment.agreed_at or appointment.created_at, zone)
    # Said early where the day itself is a holiday: a reminder after the visit helps nobody.
    day = _last_of_holidays(today, holiday_region(job.organisation), visit_on)
    rung = steps.visit_rung(day, visit_on, booked_on, reminders=ladder.reminders)
    if rung is None:
        return 0
    events = {event.attendee_email: event for event in appointment.events.all()}
    when = span_in_words(appointment.starts_at, appointment.ends_at, zone)
    written = 0
    starts, organisation = appointment.starts_at, job.organisation
    for person in who_expects_us(premises, today, short=rung.step.name == "reminder_day"):
        recipient = in_time(person, now, starts, organisation=organisation, zone=zone)
        if recipient.channel == POST and comes_too_late(
            now, starts, organisation=organisation, zone=zone
        ):
            continue  # the booking itself was told, by letter or telephone
        draft = _draft(
            job,
            recipient,
            rung,
            now,
            message_class=consent.SERVICE,
            about=f"{appointment.pk}:{appointment.starts_at.timestamp():.0f}",
            when=when,
            event=events.get(recipient.address),
            own=ladder.words.get(rung.step.name),
            expires_at=starts,
        )
        written += write_down(draft) is not None
    return written


def _last_of_holidays(today: date, region: str, visit_on: date) -> date:
    """The last day of the holidays that begin tomorrow, so that what falls in them is said now."""
    day = today
    while day + timedelta(days=1) < visit_on and is_bank_holiday(day + timedelta(days=1), region):
        day += timedelta(days=1)
    return day


def _draft(
    job: Job,
    recipient: Recipient,
    rung: Rung,
    now: datetime,
    *,
    message_class: str,
    about: str = "",
    when: str = "",
    event: CalendarEvent | None = None,
    expires_at: datetime | None = None,
    own: Mapping[str, OwnWords] | None = None,
) -> Draft:
    zone = job.system.premises.zone_name
    morning = reminder_moment(
        local_day(now, zone),
        zone=zone,
        region=holiday_region(job.organisation),
        hours=hours_of(job.organisation),
    )
    subject = about or job.public_id.hex
    return Draft(
        key=f"{rung.step.name}:{subject}:{recipient.person.public_id.hex}",
        template=rung.step.name,
        organisation=job.organisation,
        name=recipient.person.name,
        address=recipient.address,
        channel=recipient.channel,
        facts={**job_facts(job), "when": when},
        send_at=max(now, morning),
        expires_at=expires_at or _start_of(rung.until, zone),
        message_class=message_class,
        recipient=recipient,
        job=job,
        event=event,
        own=own,
    )


def _start_of(day: date, zone: str) -> datetime:
    return datetime.combine(day, time(), tzinfo=ZoneInfo(zone)).astimezone(UTC)
