"""The ladder as an organisation wants it: steps, days and words of its own over the usual ones."""

from __future__ import annotations

import re
from dataclasses import asdict, astuple, dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from customers.languages import ENGLISH
from scheduler.messages.steps import BEFORE_VISIT, OFFERS, Step, reach
from scheduler.messages.timing import holiday_region
from scheduler.models import LadderStep, TellingRules

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from customers.models import Organisation, User

TITLES = {
    "offer": "First offer to book",
    "offer_again": "Second offer to book",
    "overdue": "First reminder when overdue",
    "overdue_again": "Last reminder when overdue, before the telephone",
    "reminder_week": "Reminder of an agreed visit, days ahead",
    "reminder_day": "Reminder of an agreed visit, the day before",
}
# First and last day each step may be put on: the order of the ladder is kept by the ranges.
RANGES = {
    "offer": (-120, -46),
    "offer_again": (-45, -14),
    "overdue": (1, 29),
    "overdue_again": (30, 59),
    "reminder_week": (-14, -3),
    "reminder_day": (-2, -1),
}
USUAL = {step.name: step.days for step in (*OFFERS, *BEFORE_VISIT)}
# What own words may name, with what it stands for.
NAMES = {
    "place": "the place",
    "work": "what is to be done, as in: emptying of the septic tank",
    "system": "what is in the ground, as in: septic tank",
    "due": "the day it falls due",
    "sender": "your name",
    "phone": "your telephone number",
}
VISIT_NAMES = {**NAMES, "when": "day and time of the visit"}
NAMED = re.compile(r"\{(\w*)\}")


@dataclass(frozen=True, slots=True)
class OwnWords:
    """Subject and words of an organisation's own; an empty one means ours."""

    subject: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class Ladder:
    """The steps an organisation uses, in order, and its own words by step and language."""

    offers: tuple[Step, ...] = OFFERS
    reminders: tuple[Step, ...] = BEFORE_VISIT
    words: Mapping[str, Mapping[str, OwnWords]] = field(default_factory=dict)


def ladder_of(organisation: Organisation) -> Ladder:
    """The ladder of an organisation; one query."""
    own = {row.name: row for row in LadderStep.objects.filter(organisation=organisation)}

    def kept(usual: tuple[Step, ...]) -> tuple[Step, ...]:
        changed = [(step, own.get(step.name)) for step in usual]
        return tuple(
            Step(step.name, row.days) if row else step
            for step, row in changed
            if row is None or row.in_use
        )

    words = {name: words_of(row) for name, row in own.items()}
    return Ladder(kept(OFFERS), kept(BEFORE_VISIT), words)


def words_of(row: LadderStep) -> dict[str, OwnWords]:
    """The own words of a step by language; a language without any is not named."""
    said = {ENGLISH: OwnWords(row.subject, row.words)}
    said |= {code: OwnWords(**words) for code, words in row.other_words.items()}
    return {code: words for code, words in said.items() if words.subject or words.words}


def jobs_wanted_until(organisation: Organisation, today: dt.date) -> dt.date:
    """The last due day for which there is to be a job today: never before what is offered today.

    With ninety days ahead alone, midwinter would have no jobs when its offers begin in October.
    """
    offers, region = ladder_of(organisation).offers, holiday_region(organisation)
    plain = today + timedelta(days=organisation.horizon_days)
    return max(plain, reach(today, offers=offers, region=region))


def names_for(step: str) -> dict[str, str]:
    """What the words of a step may name."""
    return VISIT_NAMES if step in {one.name for one in BEFORE_VISIT} else NAMES


def fault_in(text: str, step: str) -> str:
    """What is wrong with own words, for whoever wrote them; empty where all is well."""
    known = names_for(step)
    unknown = [name for name in NAMED.findall(text) if name not in known]
    if unknown:
        return f"Nothing is known by the name {{{unknown[0]}}}. Names: {', '.join(known)}."
    if re.search(r"[{}]", NAMED.sub("", text)):
        return "A curly bracket has no partner. Names stand in curly brackets: {place}."
    return ""


@transaction.atomic
def set_step(
    *,
    organisation: Organisation,
    name: str,
    days: int,
    in_use: bool,
    subject: str,
    words: str,
    by: User,
    other_words: Mapping[str, OwnWords] | None = None,
) -> LadderStep:
    """Write how one step of the ladder shall be; `other_words` by language other than English.

    Raises ValueError for a day outside the step's range, or words that name what nobody knows.
    """
    access.require(by, "manage", organisation)
    first, last = RANGES[name]
    others = {code: one for code, one in (other_words or {}).items() if one.subject or one.words}
    texts = [subject, words, *(text for one in others.values() for text in astuple(one))]
    fault = next((fault for text in texts if (fault := fault_in(text, name))), "")
    if fault or not first <= days <= last:
        raise ValueError(fault or f"{days} is not between {first} and {last}.")
    step, _ = LadderStep.objects.update_or_create(
        organisation=organisation,
        name=name,
        defaults={
            "days": days,
            "in_use": in_use,
            "subject": subject,
            "words": words,
            "other_words": {code: asdict(one) for code, one in others.items()},
        },
    )
    return step


@transaction.atomic
def set_telling_rules(
    *, organisation: Organisation, day_begins: dt.time, day_ends: dt.time, order: str, by: User
) -> TellingRules:
    """Write at which hours owners may be written to, and which way is tried first."""
    access.require(by, "manage", organisation)
    if day_ends <= day_begins:
        message = "The day must end after it begins."
        raise ValueError(message)
    rules, _ = TellingRules.objects.update_or_create(
        organisation=organisation,
        defaults={"day_begins": day_begins, "day_ends": day_ends, "order": order},
    )
    return rules
