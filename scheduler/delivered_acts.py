"""Arrivals, departures and tickets that were noted without signal and come in late."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from scheduler import booking, driven_days
from scheduler.delivered_sheets import SentBack
from scheduler.forms.today import TipForm
from scheduler.messages.next_stop import tell_next_stop
from scheduler.models import Delivery
from scheduler.tips import TipRefused, record_tip

if TYPE_CHECKING:
    from django.http import QueryDict

    from customers.models import User

Kind = Delivery.Kind
# "On the way" an hour afterwards would be no help to anybody. Our own limit.
STILL_NEWS = dt.timedelta(minutes=15)


def note_stop(delivery: Delivery, typed: QueryDict, by: User, now: dt.datetime) -> None:
    """Do at the stop what the crew noted. Raises NotPossible where there is no such stop now."""
    stop, moment = delivery.stop, delivery.made_at
    if stop is None:
        message = "This stop is on no round any more: the office planned the day anew."
        raise booking.NotPossible(message)
    if delivery.kind == Kind.ARRIVED:
        driven_days.mark_arrived(stop=stop, by=by, now=moment)
    elif delivery.kind == Kind.LEFT:
        if driven_days.mark_left(stop=stop, by=by, now=moment) and now - moment < STILL_NEWS:
            tell_next_stop(left=stop, now=now)
    else:
        note_ticket(delivery, typed, by)


def note_ticket(delivery: Delivery, typed: QueryDict, by: User) -> None:
    """Note a tip ticket. Raises SentBack with what is wrong with it."""
    stop = delivery.stop
    assert stop is not None
    form = TipForm(typed, units=stop.round.organisation.units, prefix=f"tip-{stop.pk}")
    if not form.is_valid():
        errors = {form.add_prefix(name): [*map(str, texts)] for name, texts in form.errors.items()}
        raise SentBack({"errors": errors})
    try:
        record_tip(stop=stop, told=form.told(), by=by, now=delivery.made_at, key=delivery.key)
    except TipRefused as refused:
        raise SentBack(
            {"errors": {form.add_prefix(one.field): [one.text] for one in refused.refusals}}
        ) from refused
