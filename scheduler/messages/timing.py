"""When a message leaves: by day where it is read, unless it could not wait."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from scheduler.messages.quiet_hours import USUAL_HOURS, Hours, next_waking_moment
from scheduler.models import TellingRules

if TYPE_CHECKING:
    from datetime import datetime

    from customers.models import Organisation
    from scheduler.models import Message

# News of a visit that begins sooner after waking than this is told at once, at any hour.
LEAST_NOTICE = timedelta(hours=2)
AT_ONCE = frozenset({"on_the_way"})


def holiday_region(organisation: Organisation) -> str:
    """Region by whose public holidays an organisation's owners live, such as GB-SCT."""
    profile = organisation.profile
    parts = (profile.holidays_country, profile.holidays_subdivision)
    return "-".join(part for part in parts if part)


def rules_of(organisation: Organisation) -> TellingRules | None:
    """What an organisation wants otherwise than usual; None where it never said."""
    try:
        return organisation.telling_rules
    except TellingRules.DoesNotExist:
        return None


def letter_first(organisation: Organisation) -> bool:
    """Whether it writes letters even to those who have e-mail."""
    rules = rules_of(organisation)
    return rules is not None and rules.order == TellingRules.Order.LETTER_FIRST


def hours_of(organisation: Organisation) -> Hours:
    """From when to when its owners may be written to."""
    rules = rules_of(organisation)
    return Hours(rules.day_begins, rules.day_ends) if rules else USUAL_HOURS


def leaving_moment(
    moment: datetime,
    *,
    organisation: Organisation,
    zone: str,
    visit_starts: datetime | None = None,
) -> datetime:
    """The earliest moment, from `moment` on, at which an owner may be written to."""
    waking = next_waking_moment(
        moment, zone=zone, region=holiday_region(organisation), hours=hours_of(organisation)
    )
    too_late = visit_starts is not None and moment < visit_starts < waking + LEAST_NOTICE
    return moment if too_late else waking


def may_leave_at(message: Message, now: datetime) -> datetime:
    """When a message that is due may really go: later where it is night or a holiday.

    Crews are at work and are told at once; a letter has no hour.
    """
    if message.round_id is not None or message.template in AT_ONCE:
        return now
    return leaving_moment(
        now,
        organisation=message.organisation,
        zone=_zone_of(message),
        visit_starts=message.event.starts_at if message.event else None,
    )


def _zone_of(message: Message) -> str:
    if message.job is not None:
        return message.job.system.premises.zone_name
    return message.organisation.time_zone
