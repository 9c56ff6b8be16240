"""Whether somebody may be written to: the consent ledger and the list of refused addresses."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.core import signing
from django.db import transaction

from customers.models import ContactPreference, Organisation, Person, Suppression

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

SERVICE = ContactPreference.MessageClass.SERVICE
MARKETING = ContactPreference.MessageClass.MARKETING
LEAVE_SALT = "scheduler.messages.leave"


def address_hash(address: str, organisation: Organisation) -> str:
    """What is kept of an address that must not be used: enough to know it again, no more."""
    known = f"{organisation.public_id}:{address.strip().casefold()}"
    return hashlib.sha256(known.encode()).hexdigest()


@dataclass(frozen=True, kw_only=True, slots=True)
class Question:
    """May this be sent to this address?"""

    organisation: Organisation
    person: Person | None
    address: str
    channel: str
    message_class: str


def why_not(question: Question) -> str:
    """Why something may not be sent, in words; empty when it may."""
    return answers([question])[0]


def answers(questions: Sequence[Question]) -> list[str]:
    """Answer many questions in two queries, each as `why_not` does.

    A service message needs no consent but stops at a refusal. Marketing needs a recorded yes
    for its channel, and no later no.
    """
    suppressed = _suppressed(questions)
    said = _last_said(questions)
    return [_answer(question, suppressed, said) for question in questions]


Said = dict[tuple[int, str, str], ContactPreference]


def _answer(question: Question, suppressed: set[tuple[int, str, str]], said: Said) -> str:
    hashed = address_hash(question.address, question.organisation)
    # An address closed to service messages is closed to marketing too.
    classes = {SERVICE, question.message_class}
    if any((question.organisation.pk, hashed, one) in suppressed for one in classes):
        return "This address asked not to be written to."
    person = question.person.pk if question.person else 0
    last = said.get((person, question.channel, question.message_class))
    if last is not None and not last.allowed:
        return f"Refused: {last.how}."
    if question.message_class == MARKETING and last is None:
        return "No consent to offers is recorded."
    return ""


def _suppressed(questions: Sequence[Question]) -> set[tuple[int, str, str]]:
    hashes = {address_hash(question.address, question.organisation) for question in questions}
    rows = Suppression.objects.filter(address_hash__in=hashes)
    return set(rows.values_list("organisation", "address_hash", "message_class"))


def _last_said(questions: Sequence[Question]) -> Said:
    """What each person said last, by channel and class of message."""
    people = {question.person.pk for question in questions if question.person}
    lines = ContactPreference.objects.filter(person__in=people).order_by("recorded_at", "id")
    return {(line.person_id, line.channel, line.message_class): line for line in lines}


def leave_token(*, organisation: Organisation, address: str) -> str:
    """What stands in the one-click link: whose list, which address, and our signature."""
    value = f"{organisation.public_id.hex}{address_hash(address, organisation)}"
    return signing.Signer(sep=".", salt=LEAVE_SALT).sign(value)


def read_leave_token(token: str) -> tuple[Organisation, str] | None:
    """The organisation and the address hash a link stands for; None when it is not ours."""
    try:
        value = signing.Signer(sep=".", salt=LEAVE_SALT).unsign(token)
    except signing.BadSignature:
        return None
    organisation = Organisation.objects.filter(public_id=value[:32]).first()
    return (organisation, value[32:]) if organisation else None


@transaction.atomic
def unsubscribe(
    *, organisation: Organisation, hashed: str, now: datetime, how: str = "one-click link"
) -> None:
    """Stop marketing to an address for good; doing it twice changes nothing."""
    _, is_new = Suppression.objects.get_or_create(
        organisation=organisation,
        address_hash=hashed,
        message_class=MARKETING,
        defaults={"reason": how, "since": now},
    )
    if not is_new:
        return
    for person in Person.objects.filter(organisation=organisation).exclude(email=""):
        if address_hash(person.email, organisation) == hashed:
            ContactPreference.objects.create(
                person=person,
                channel=ContactPreference.Channel.EMAIL,
                message_class=MARKETING,
                allowed=False,
                recorded_at=now,
                how=how,
            )
