"""The ladder of reminders as plain dates: which step is due on which day.

Days by trade practice; no published source. A step that comes late is still taken, but never
two at once: only the last whose day has come.
"""

from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class Step:
    """One rung: days after the due day (before it when negative), and the message to send."""

    name: str
    days: int


OFFERS = (
    Step("offer", -60),
    Step("offer_again", -30),
    Step("overdue", 14),
    Step("overdue_again", 45),
)
TELEPHONE_AFTER_DAYS = 60  # overdue by so much: ring

BEFORE_VISIT = (Step("reminder_week", -7), Step("reminder_day", -1))


@dataclass(frozen=True, slots=True)
class Rung:
    """A step with the day it was due and the first day on which it no longer serves."""

    step: Step
    day: date
    until: date


def offered_around(due_on: date) -> date:
    """The day from which offers count back: what falls due in midwinter is offered for November.

    Blockages cluster at Christmas and days are short: common practice, no source.
    """
    if due_on.month == 12:
        return date(due_on.year, 11, 30)
    if due_on.month == 1:
        return date(due_on.year - 1, 11, 30)
    return due_on


def offer_rung(today: date, due_on: date) -> Rung | None:
    """The offer or reminder that an unsettled job has reached; None before the first."""
    days = [_day_of(step, due_on) for step in OFFERS]
    ends = [*days[1:], due_on + timedelta(days=TELEPHONE_AFTER_DAYS)]
    reached = [
        Rung(step, day, until)
        for step, day, until in zip(OFFERS, days, ends, strict=True)
        if day <= today < until
    ]
    return reached[-1] if reached else None


def _day_of(step: Step, due_on: date) -> date:
    anchor = offered_around(due_on) if step.days < 0 else due_on
    return anchor + timedelta(days=step.days)


def visit_rung(today: date, visit_on: date, booked_on: date) -> Rung | None:
    """The reminder of an agreed visit that is due; none for what was only just booked."""
    for step, until in zip(BEFORE_VISIT, (visit_on - timedelta(days=1), visit_on), strict=True):
        day = visit_on + timedelta(days=step.days)
        if day <= today < until and booked_on < day:
            return Rung(step, day, until)
    return None


def wants_ringing(today: date, due_on: date) -> bool:
    """Whether letters have had their chance."""
    return today >= due_on + timedelta(days=TELEPHONE_AFTER_DAYS)
