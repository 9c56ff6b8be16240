"""The ladder of reminders as plain dates: which step is due on which day.

Days by trade practice; no published source. A step that comes late is still taken, but never
two at once: only the last whose day has come.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scheduler.messages.quiet_hours import is_bank_holiday


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

# From the last day of midwinter back to the day for which it is offered.
LONGEST_PULL = (date(2027, 1, 31) - date(2026, 11, 30)).days

BEFORE_VISIT = (Step("reminder_week", -7), Step("reminder_day", -1))


@dataclass(frozen=True, slots=True)
class Rung:
    """A step with the day it was due and the first day on which it no longer serves."""

    step: Step
    day: date
    until: date


def offered_around(due_on: date, region: str = "") -> date:
    """The day from which offers count back.

    What falls due in midwinter is offered for November, and what falls due in a week with a bank
    holiday for the Friday before that week. Blockages cluster at Christmas, days are short and
    works are closed: common practice, no source.
    """
    if due_on.month == 12:
        return date(due_on.year, 11, 30)
    if due_on.month == 1:
        return date(due_on.year - 1, 11, 30)
    monday = due_on - timedelta(days=due_on.weekday())
    if any(is_bank_holiday(monday + timedelta(days=day), region) for day in range(7)):
        return monday - timedelta(days=3)
    return due_on


def offer_rung(
    today: date, due_on: date, *, offers: Sequence[Step] = OFFERS, region: str = ""
) -> Rung | None:
    """The offer or reminder that an unsettled job has reached; None before the first."""
    days = [_day_of(step, due_on, region) for step in offers]
    ends = [*days[1:], due_on + timedelta(days=TELEPHONE_AFTER_DAYS)]
    reached = [
        Rung(step, day, until)
        for step, day, until in zip(offers, days, ends, strict=True)
        if day <= today < until
    ]
    return reached[-1] if reached else None


def reach(today: date, *, offers: Sequence[Step] = OFFERS, region: str = "") -> date:
    """The last due day whose first offer has come by `today`; `today` where nothing is offered.

    On 1 October, with the usual ladder, it is 31 January: midwinter is offered by then.
    """
    first = min((step for step in offers if step.days < 0), key=lambda s: s.days, default=None)
    if first is None:
        return today
    plain = today - timedelta(days=first.days)
    days = (plain + timedelta(days=ahead) for ahead in range(LONGEST_PULL + 1))
    return max((day for day in days if _day_of(first, day, region) <= today), default=plain)


def _day_of(step: Step, due_on: date, region: str) -> date:
    anchor = offered_around(due_on, region) if step.days < 0 else due_on
    return anchor + timedelta(days=step.days)


def visit_rung(
    today: date, visit_on: date, booked_on: date, *, reminders: Sequence[Step] = BEFORE_VISIT
) -> Rung | None:
    """The reminder of an agreed visit that is due; none for what was only just booked."""
    days = [visit_on + timedelta(days=step.days) for step in reminders]
    for step, day, until in zip(reminders, days, [*days[1:], visit_on], strict=True):
        if day <= today < until and booked_on < day:
            return Rung(step, day, until)
    return None


def wants_ringing(today: date, due_on: date) -> bool:
    """Whether letters have had their chance."""
    return today >= due_on + timedelta(days=TELEPHONE_AFTER_DAYS)
