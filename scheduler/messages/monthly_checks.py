"""The monthly reminder to look at a system from outside; sent once a month at most."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from dateutil.relativedelta import relativedelta
from django.db import transaction
from django.db.models import Max

from scheduler.messages import consent
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.quiet_hours import reminder_moment
from scheduler.messages.recipients import POST, who_decides
from scheduler.messages.timing import holiday_region, hours_of
from scheduler.messages.words import local_day, organisation_facts, system_name
from scheduler.models import Message
from servicing.models import System

if TYPE_CHECKING:
    from datetime import date, datetime

    from customers.models import Organisation

LASTS = timedelta(days=14)


def write_check_reminders(organisation: Organisation, now: datetime) -> int:
    """Remind of the look rounds that are due; run often, it writes one a month and person.

    Only where reminders were asked for at the system. A service message: it is about a duty the
    person has, and offers nothing.
    """
    wanted = (
        System.objects.in_use()
        .filter(organisation=organisation, check_reminders=True)
        .select_related("premises__organisation__profile")
        .annotate(last_checked_on=Max("operator_checks__checked_on"))
    )
    return sum(remind(system, now) for system in wanted.order_by("pk").iterator())


@transaction.atomic
def remind(system: System, now: datetime) -> int:
    """Write this month's reminder of one system, where a month has passed since the last look."""
    premises = system.premises
    today = local_day(now, premises.zone_name)
    last = getattr(system, "last_checked_on", None)
    if last is not None and last + relativedelta(months=1) > today:
        return 0
    return sum(write_down(one) is not None for one in drafts_of(system, today, now))


def drafts_of(system: System, today: date, now: datetime) -> list[Draft]:
    """One message to each who decides and can be reached other than by letter."""
    premises, organisation = system.premises, system.premises.organisation
    leaves = reminder_moment(
        today,
        zone=premises.zone_name,
        region=holiday_region(organisation),
        hours=hours_of(organisation),
    )
    facts = {
        **organisation_facts(organisation),
        "place": str(premises),
        "system": system_name(system),
        "is_plant": system.kind == System.Kind.PACKAGE_PLANT,
    }
    return [
        Draft(
            key=f"{key_of(system)}{today:%Y-%m}:{recipient.person.public_id.hex}",
            template="monthly_check",
            organisation=organisation,
            name=recipient.person.name,
            address=recipient.address,
            channel=recipient.channel,
            facts=facts,
            send_at=max(now, leaves),
            expires_at=max(now, leaves) + LASTS,
            message_class=consent.SERVICE,
            recipient=recipient,
            premises=premises,
        )
        for recipient in who_decides(premises, today)
        if recipient.channel != POST
    ]


def key_of(system: System) -> str:
    """What the keys of all reminders of one system begin with."""
    return f"monthly-check:{system.public_id.hex}:"


def drop_reminders(system: System) -> int:
    """It was looked at, or nobody wants reminding: what waits is not sent."""
    waiting = Message.objects.filter(key__startswith=key_of(system), state=Message.State.WAITING)
    return waiting.update(state=Message.State.DROPPED, last_error="Looked at since.")
