"""Questions raised by measurements that contradict what was expected, and their answers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from customers import access
from servicing.models import Dip, Question

if TYPE_CHECKING:
    from customers.models import Organisation, User
    from servicing.forecasting.outcomes import Question as Asked
    from servicing.forecasts.reading import SystemRow

MOST_SHOWN = 200
ANSWERS = {label: value for value, label in Question.Answer.choices}


def keep_questions(
    asked: Mapping[int, tuple[SystemRow, tuple[Asked, ...]]], *, today: dt.date
) -> None:
    """Raise what is asked now, and let fall what is no longer asked; answers stay."""
    wanted = {
        (pk, question.code, question.on): (system, question)
        for pk, (system, questions) in asked.items()
        for question in questions
    }
    rows = Question.objects.filter(system__in=asked)
    standing = {(row.system_id, row.code, row.about_on): row for row in rows}
    for key, row in standing.items():
        fell_away = None if key in wanted else row.fell_away_on or today
        if row.fell_away_on != fell_away:
            row.fell_away_on = fell_away
            row.save(update_fields=["fell_away_on", "changed_at"])
    new = [
        Question(
            organisation_id=system.organisation_id,
            system_id=system.pk,
            code=question.code,
            about_on=question.on,
            text=question.text,
            choices=[ANSWERS[choice] for choice in question.choices],
        )
        for key, (system, question) in wanted.items()
        if key not in standing
    ]
    Question.objects.bulk_create(new, batch_size=500, ignore_conflicts=True)


@transaction.atomic
def answer_question(*, question: Question, answer: str, note: str, by: User) -> Question:
    """Record what somebody says of a measurement; a later answer takes the place of an earlier.

    Raises PermissionDenied for who may not record visits.
    """
    access.require_change(by, question)
    question.answer = Question.Answer(answer)
    question.note = note
    question.answered_at = timezone.now()
    question.answered_by = by
    question.save(update_fields=["answer", "note", "answered_at", "answered_by", "changed_at"])
    return question


# What to do about an answer: the record is put right by people, never by the forecast.
NEXT = {
    Question.Answer.MEASURE_AGAIN: "It stands on the list of tanks worth dipping.",
    Question.Answer.MORE_PEOPLE: "Correct who uses it, and the date follows.",
    Question.Answer.FEWER_PEOPLE: "Correct who uses it, and the date follows.",
    Question.Answer.NOT_EMPTIED: "Correct the day it was last emptied, and the date follows.",
    Question.Answer.EMPTIED: "Record that emptying, and the date follows.",
    Question.Answer.OUTLET: "Want an inspection: a blocked outlet backs up into the house.",
    Question.Answer.LEAK: "Want an inspection: sewage may be reaching the ground.",
    Question.Answer.STANDS: "The forecast goes on as it is.",
}


def what_next(question: Question) -> str:
    """What is to be done after an answer."""
    return NEXT[Question.Answer(question.answer)]


def still_to_measure(organisation: Organisation) -> list[Question]:
    """Questions answered "measure again" with no measurement since the one that was doubted."""
    later = Dip.objects.filter(
        visit__system=OuterRef("system"),
        visit__visited_on__gt=OuterRef("about_on"),
        visit__abandoned_because="",
        visit__replaced_by__isnull=True,
    )
    rows = Question.objects.filter(organisation=organisation).to_measure_again()
    return list(rows.filter(~Exists(later)).select_related("system__premises")[:MOST_SHOWN])
