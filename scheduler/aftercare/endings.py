"""What follows when an agreement ends, is cancelled, or no longer renews itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from customers.local_days import local_today
from customers.models import Agreement
from scheduler import booking
from scheduler.aftercare.fees import settle
from scheduler.messages.agreements_told import drop_notices
from scheduler.models import Job

if TYPE_CHECKING:
    import datetime as dt


def follow(agreement: Agreement, *, now: dt.datetime | None = None) -> None:
    """Bring messages, promised visits and charges in step with the agreement. Twice is once."""
    now = now or timezone.now()
    is_over = agreement.ended_on is not None or agreement.state != Agreement.State.AGREED
    if agreement.state == Agreement.State.OFFERED:
        return
    if is_over or not agreement.renews_itself:
        drop_notices(agreement, "The agreement ended or does not renew itself.")
    if is_over:
        for job in agreement.jobs.filter(state=Job.State.WANTED).select_related("organisation"):
            booking.withdraw(job=job, because="The agreement ended.", by=None, now=now)
        settle(agreement, today=local_today(agreement.organisation, now))
