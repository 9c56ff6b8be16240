"""Renewals, run often: notices written and seen to get out, then renewed, or held for the office."""

from __future__ import annotations

import datetime as dt
import logging

from django.db import DatabaseError

from customers.agreement_record import Kind
from customers.local_days import local_today
from customers.models import Agreement, AgreementEvent, Organisation
from customers.renewing import hold, note_notice, notices_of, renew_itself
from scheduler.messages.agreements_told import NOTICE, REMINDER, write_renewal_notices
from scheduler.models import Message

logger = logging.getLogger(__name__)

LOOKS_BACK = dt.timedelta(days=90)
CAME_BACK = "The renewal notice came back: the address does not work. Tell the customer yourself."


def run_renewals(*, now: dt.datetime) -> int:
    """Do what is due about renewals everywhere; give the number of terms renewed."""
    renewed = 0
    for organisation in Organisation.objects.select_related("profile").order_by("pk"):
        write_renewal_notices(organisation, now=now)
        note_sent_notices(organisation, now=now)
        renewed += renew_due(organisation, now=now)
    return renewed


def note_sent_notices(organisation: Organisation, *, now: dt.datetime) -> int:
    """Keep as evidence each notice that was sent, or whose letter was posted; once for each."""
    sent = Message.objects.filter(
        organisation=organisation,
        template__in=[NOTICE, REMINDER],
        state=Message.State.SENT,
        bounced_at__isnull=True,
        sent_at__gte=now - LOOKS_BACK,
    )
    keys = {_event_key(message) for message in sent}
    known = set(AgreementEvent.objects.filter(key__in=keys).values_list("key", flat=True))
    fresh = [message for message in sent if _event_key(message) not in known]
    for message in fresh:
        _, agreement, _, _, _, price, _ = message.key.split(":")
        found = Agreement.objects.filter(organisation=organisation, public_id=agreement).first()
        if found is None:
            continue
        note_notice(
            agreement=found,
            given_at=message.sent_at or now,
            price_pence=int(price),
            how=f"{message.get_channel_display()} to {message.to_name}: {message.subject}",
            key=_event_key(message),
        )
    return len(fresh)


def _event_key(message: Message) -> str:
    return f"message:{message.public_id.hex}"


def renew_due(organisation: Organisation, *, now: dt.datetime) -> int:
    """Renew, or hold, each agreement whose last day has come. One that fails stops no other."""
    today = local_today(organisation, now)
    rows = Agreement.objects.filter(organisation=organisation).renewing()
    due = rows.filter(ends_on__lte=today, held_at__isnull=True, starts_on__lte=today)
    renewed = 0
    for agreement in due.select_related("organisation__profile", "premises").order_by("pk"):
        try:
            if notices_came_back(agreement):
                hold(agreement=agreement, because=CAME_BACK, now=now)
            elif renew_itself(agreement=agreement, now=now) is not None:
                renewed += 1
        except DatabaseError:
            raise  # not about this agreement
        except Exception:
            logger.exception("An agreement could not be renewed: %s", agreement.pk)
    return renewed


def notices_came_back(agreement: Agreement) -> bool:
    """Whether every notice of this renewal is known by now not to have arrived."""
    notices = notices_of(agreement)
    keys = [one.key.removeprefix("message:") for one in notices if one.key]
    returned = Message.objects.filter(public_id__in=keys, bounced_at__isnull=False).count()
    return bool(notices) and returned == len(notices)


def not_reached(organisation: Organisation, *, today: dt.date) -> int:
    """Renewals near their end of which no notice has got out."""
    rows = Agreement.objects.filter(organisation=organisation).renewing()
    near = rows.filter(ends_on__gte=today, ends_on__lte=today + dt.timedelta(days=30))
    return near.exclude(events__kind=Kind.NOTICE).count()
