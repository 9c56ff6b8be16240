"""The note before Christmas to places whose drain showed fat or wipes."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils.translation import gettext, gettext_noop

from customers.models import Agreement, Premises
from scheduler.messages import consent
from scheduler.messages.compose import Draft, write_down
from scheduler.messages.quiet_hours import reminder_moment
from scheduler.messages.recipients import who_expects_us
from scheduler.messages.timing import holiday_region, hours_of
from scheduler.messages.words import lazily, local_day, organisation_facts
from servicing.models import ChamberFinding

if TYPE_CHECKING:
    from datetime import date, datetime

    from customers.models import Organisation

# Grease sets hardest in cold pipes when kitchens work most: common practice, no source.
FROM_DAY, TO_DAY = (11, 15), (12, 18)
LOOKS_BACK = timedelta(days=730)
IN_WORDS = {
    ChamberFinding.Debris.FAT: gettext_noop("fat"),
    ChamberFinding.Debris.WIPES: gettext_noop("wipes"),
    ChamberFinding.Debris.SANITARY: gettext_noop("sanitary items"),
}


def write_fat_notes(organisation: Organisation, now: datetime) -> int:
    """Write this year's note to each place that needs one; run often, it writes each once."""
    today = local_day(now, organisation.time_zone)
    if not FROM_DAY <= (today.month, today.day) <= TO_DAY:
        return 0
    found: dict[int, set[str]] = {}
    findings = ChamberFinding.objects.filter(
        debris__in=IN_WORDS,
        amount__gt=ChamberFinding.Amount.NONE,
        visit__organisation=organisation,
        visit__visited_on__gt=today - LOOKS_BACK,
    )
    for premises, debris in findings.values_list("chamber__system__premises", "debris"):
        found.setdefault(premises, set()).add(IN_WORDS[ChamberFinding.Debris(debris)])
    places = Premises.objects.filter(pk__in=found).select_related("organisation__profile")
    return sum(_note(place, sorted(found[place.pk]), now) for place in places.order_by("pk"))


@transaction.atomic
def _note(premises: Premises, found: list[str], now: datetime) -> int:
    organisation = premises.organisation
    zone = premises.zone_name
    today = local_day(now, zone)
    agreed = Agreement.objects.filter(premises=premises).current(today).exists()
    leaves = reminder_moment(
        today, zone=zone, region=holiday_region(organisation), hours=hours_of(organisation)
    )
    drafts = [
        Draft(
            key=f"fat-note:{premises.public_id.hex}:{today.year}:{recipient.person.public_id.hex}",
            template="fat_and_wipes",
            organisation=organisation,
            name=recipient.person.name,
            address=recipient.address,
            channel=recipient.channel,
            facts={
                **organisation_facts(organisation),
                "place": str(premises),
                "found": in_a_row(found),
            },
            send_at=max(now, leaves),
            expires_at=now + _left(today),
            message_class=consent.SERVICE if agreed else consent.MARKETING,
            recipient=recipient,
            premises=premises,
        )
        for recipient in who_expects_us(premises, today)
    ]
    return sum(write_down(draft) is not None for draft in drafts)


@lazily
def in_a_row(words: list[str]) -> str:
    """Things found: fat, wipes."""
    return ", ".join(gettext(word) for word in words)


def _left(today: date) -> timedelta:
    """How long the note is of use: until Christmas Eve."""
    return today.replace(month=12, day=24) - today
