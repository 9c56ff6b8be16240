"""What an owner tells us without an account, and how the office settles it."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import IntegrityError, transaction

from customers import access
from customers.local_days import zone_at
from scheduler import booking, due_work, triage
from scheduler.models import Appointment, DayRequest, Job, TroubleReport
from servicing.forecasts import refresh_forecast
from servicing.models import Occupancy, System

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser
    from django.db.models import QuerySet

    from customers.models import Person, User

# Uses of which a household knows the number; of a pub or a school the office asks more.
HOUSEHOLD_USES = (Occupancy.Use.RESIDENCE, Occupancy.Use.HOLIDAY_LET)


@transaction.atomic
def report_trouble(
    *,
    system: System,
    person: Person | None,
    sign: str,
    words: str,
    key: uuid.UUID,
    now: dt.datetime,
) -> TroubleReport:
    """Note trouble, what we advised, and the call-out that comes of it.

    The same `key` for the same system is the same report.
    """
    advice = triage.advise(sign)
    before = TroubleReport.objects.filter(public_id=key).first()
    if before is not None and before.system_id == system.pk:
        return before
    report = TroubleReport(
        public_id=key if before is None else uuid.uuid4(),
        system=system,
        person=person,
        reported_at=now,
        symptom=advice.sign.key,
        words=words,
        advice=advice.text,
        priority=advice.sign.priority,
    )
    try:
        with transaction.atomic():
            report.save(force_insert=True)
    except IntegrityError:  # the same press, twice at once
        return TroubleReport.objects.get(public_id=key, system=system)
    if advice.sign.makes_a_job:
        report.job = due_work.call_out(
            system=system,
            why=call_out_words(advice.sign, words),
            priority=report.priority,
            today=now.astimezone(zone_at(system.premises)).date(),
        )
        report.save(update_fields=["job"])
    return report


def call_out_words(sign: triage.Sign, words: str) -> str:
    """Why somebody has to come, as the office and the crew read it."""
    said = f"Owner reports: {sign.says.lower()}"
    return f"{said}. {words}"[:300] if words else said


@transaction.atomic
def tell_occupancy(
    *, system: System, persons: float, since: dt.date, person: Person, now: dt.datetime
) -> Occupancy:
    """Note how many live there from a day on, and forecast afresh. Twice changes nothing."""
    at_the_time = occupancy_on(system, since)
    use = at_the_time.use if at_the_time else Occupancy.Use.RESIDENCE
    usual = at_the_time or Occupancy()
    occupancy, _ = Occupancy.objects.update_or_create(
        system=system,
        since=since,
        use=use,
        defaults={"persons": persons, "told_by": person.name, "told_at": now},
        create_defaults={
            "persons": persons,
            "told_by": person.name,
            "told_at": now,
            "weeks_per_year": usual.weeks_per_year,
            "season_starts_month": usual.season_starts_month,
            "season_ends_month": usual.season_ends_month,
            "guest_nights": usual.guest_nights,
            "kitchen_grinder": usual.kitchen_grinder,
        },
    )
    refresh_forecast(system, today=now.astimezone(zone_at(system.premises)).date())
    return occupancy


@transaction.atomic
def choose_language(*, person: Person, language: str) -> bool:
    """Note what a person reads, at their own word; False for a language the site does not speak.

    Visits that stand in their calendar are told of anew when they next change.
    """
    if language not in dict(settings.LANGUAGES):
        return False
    person.language = language
    person._change_reason = "chosen on the owner's page"  # type: ignore[attr-defined]  # noqa: SLF001
    person.save(update_fields=["language", "changed_at"])
    return True


def occupancy_on(system: System, day: dt.date) -> Occupancy | None:
    """What is known of a system's use on a day."""
    rows = [row for row in system.occupancies.all() if row.since is None or row.since <= day]
    return max(rows, key=lambda row: row.since or dt.date.min, default=None)


def is_household(system: System, day: dt.date) -> bool:
    """Whether whoever lives there can say how many they are."""
    occupancy = occupancy_on(system, day)
    return occupancy is None or occupancy.use in HOUSEHOLD_USES


@transaction.atomic
def agree_by_link(*, job: Job, now: dt.datetime) -> Appointment:
    """Take the owner's yes; a wish for another day is settled by it."""
    appointment = booking.agree(job=job, how=Appointment.AgreedBy.LINK, now=now)
    job.day_requests.filter(settled_at__isnull=True).update(settled_at=now)
    return appointment


@transaction.atomic
def mark_seen(*, report: TroubleReport, by: User, now: dt.datetime) -> bool:
    """The office has read it. False when somebody had before."""
    access.require(by, "plan", report.system.organisation)
    unseen = TroubleReport.objects.filter(pk=report.pk, seen_by_office_at__isnull=True)
    return bool(unseen.update(seen_by_office_at=now))


@transaction.atomic
def settle_days(*, job: Job, by: User, now: dt.datetime) -> int:
    """The owner's wish for another day is settled; gives how many wishes were open."""
    access.require_change(by, job)
    return job.day_requests.filter(settled_at__isnull=True).update(settled_at=now)


@transaction.atomic
def offer_other_day(
    *, job: Job, starts_at: dt.datetime, ends_at: dt.datetime, by: User, now: dt.datetime
) -> Appointment:
    """Answer the wish with a time: a promised visit moves, any other is offered."""
    is_promised = Job.objects.filter(pk=job.pk, state=Job.State.AGREED).exists()
    give = booking.move if is_promised else booking.offer
    appointment = give(job=job, starts_at=starts_at, ends_at=ends_at, by=by, now=now)
    settle_days(job=job, by=by, now=now)
    return appointment


def unseen_reports(user: User | AnonymousUser) -> QuerySet[TroubleReport]:
    """Trouble at systems `user` may see that nobody in the office has read, worst first."""
    return (
        TroubleReport.objects.filter(
            system__in=System.objects.visible_to(user), seen_by_office_at__isnull=True
        )
        .select_related("system__premises__organisation", "system__organisation", "person", "job")
        .order_by("priority", "reported_at")
    )


def open_day_requests(user: User | AnonymousUser) -> QuerySet[DayRequest]:
    """Wishes for another day that nobody has answered, oldest first."""
    return (
        DayRequest.objects.filter(job__in=Job.objects.visible_to(user), settled_at__isnull=True)
        .select_related("job__system__premises__organisation", "job__organisation", "person")
        .order_by("asked_at")
    )
