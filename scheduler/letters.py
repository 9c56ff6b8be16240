"""Letters that wait to be printed: laid out together in one file, then noted as posted."""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
import re
from typing import TYPE_CHECKING

from django.conf import settings
from django.db import transaction
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext

from customers import access
from customers.models import Organisation
from scheduler.messages import consent
from scheduler.messages.rechecks import why_no_longer
from scheduler.messages.recipients import POST
from scheduler.models import Message
from servicing.documents import Frame, Letter, letters, paragraphs_of
from servicing.models import LetterBatch
from servicing.paper_facts import issuer_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

    from customers.models import User

logger = logging.getLogger(__name__)

State = LetterBatch.State
MOST = 2000
TOLD_EVERY = 25
# A worker that has said nothing for so long is taken for dead; it speaks with every few letters.
SILENT_AFTER = dt.timedelta(minutes=2)


class NoLetters(ValueError):
    """Nothing waits to be printed."""

    def __init__(self) -> None:
        super().__init__("No letter waits to be printed.")


def waiting_letters(organisation: Organisation, now: dt.datetime) -> QuerySet[Message]:
    """Letters that may go by now and are in no batch that is still to be posted, oldest first."""
    held = LetterBatch.objects.filter(organisation=organisation, state__in=LetterBatch.HOLDING)
    taken = [letter for batch in held.values_list("letters", flat=True) for letter in batch]
    return (
        Message.objects.filter(organisation=organisation, channel=POST)
        .filter(state=Message.State.WAITING, next_try_at__lte=now)
        .exclude(public_id__in=taken)
        .order_by("next_try_at", "pk")
    )


@transaction.atomic
def gather_batch(
    *, organisation: Organisation, by: User, today: dt.date, now: dt.datetime
) -> LetterBatch:
    """Put every letter that waits into one batch; raises NoLetters where none does."""
    access.require(by, "tell", organisation)
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    waiting = waiting_letters(organisation, now).values_list("public_id", flat=True)
    found = [str(public_id) for public_id in waiting[:MOST]]
    if not found:
        raise NoLetters
    return LetterBatch.objects.create(
        organisation=organisation, letters=found, asked_by=by, written_on=today
    )


def lay_out(batch_id: int) -> None:
    """Lay a batch out, once: whoever comes second finds it taken. The worker's part."""
    now = timezone.now()
    waiting = LetterBatch.objects.filter(pk=batch_id, state=State.WAITING)
    silent = LetterBatch.objects.filter(
        pk=batch_id, state=State.WORKING, changed_at__lte=now - SILENT_AFTER
    )
    for claimable in (waiting, silent):
        if claimable.update(state=State.WORKING, done=0, changed_at=now):
            break
    else:
        return
    batch = LetterBatch.objects.select_related("organisation").get(pk=batch_id)
    try:
        _finish(batch, now)
    except Exception:
        LetterBatch.objects.filter(pk=batch_id).update(
            state=State.FAILED, error="The letters could not be laid out.", changed_at=now
        )
        logger.exception("Letter batch %s failed", batch.public_id)
        raise


def _finish(batch: LetterBatch, now: dt.datetime) -> None:
    messages = _still_right(batch, now)
    mine = LetterBatch.objects.filter(pk=batch.pk, state=State.WORKING)
    if not messages:
        mine.update(state=State.FAILED, error="None of the letters is wanted any more.")
        return

    def told(count: int) -> None:
        if count % TOLD_EVERY == 0 or count == len(messages):
            mine.update(done=count, changed_at=timezone.now())

    content = letters(
        letters_of(messages, batch.written_on),
        written_on=batch.written_on,
        title=f"Letters of {batch.organisation}",
        progress=told,
    )
    mine.update(
        state=State.READY,
        letters=[str(message.public_id) for message in messages],
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        changed_at=timezone.now(),
    )


def _still_right(batch: LetterBatch, now: dt.datetime) -> list[Message]:
    """Letters of the batch that are still true and allowed; the others are noted as dropped."""
    rows = Message.objects.filter(public_id__in=batch.letters, state=Message.State.WAITING)
    found = list(
        rows.select_related(
            "organisation__profile", "person", "event", "job__system__premises__organisation"
        ).order_by("next_try_at", "pk")
    )
    refusals = consent.answers(
        [
            consent.Question(
                organisation=one.organisation,
                person=one.person,
                address=one.to_address,
                channel=one.channel,
                message_class=one.message_class,
            )
            for one in found
        ]
    )
    right = []
    for message, refusal in zip(found, refusals, strict=True):
        reason = why_no_longer(message, now) or refusal
        if reason:
            Message.objects.filter(pk=message.pk, state=Message.State.WAITING).update(
                state=Message.State.DROPPED, last_error=reason, changed_at=now
            )
        else:
            right.append(message)
    return right


def letters_of(messages: Iterable[Message], written_on: dt.date) -> Iterable[Letter]:
    """Messages as letters, each in the language of who reads it."""
    for message in messages:
        with translation.override(message.language):
            frame = frame_on(written_on)
            nobody = gettext("To whom it concerns")
        yield Letter(
            issuer=issuer_of(message.organisation),
            to_name=message.to_name or nobody,
            frame=frame,
            to_lines=address_lines(message),
            subject=message.subject,
            paragraphs=paragraphs_of(message.body_text),
            reference=message.job.system.reference if message.job else "",
            link=own_address(message.body_text),
        )


def frame_on(day: dt.date) -> Frame:
    """What stands round a letter written on a day, in the present language."""
    return Frame(
        language=(translation.get_language() or "en").partition("-")[0],
        written=date_format(day, "j F Y"),
        reference=gettext("Our reference:"),
        scan=gettext("Scan for your own page"),
        picture=gettext("QR code of your own page:"),
    )


def own_address(text: str) -> str:
    """The first address of this site in a text: the owner's own page."""
    found = re.search(rf"{re.escape(settings.SITE_ADDRESS)}/[^\s<>]+", text)
    return found[0] if found else ""


def address_lines(message: Message) -> tuple[str, ...]:
    """Address for the envelope, a line each: the person's own, else the place's."""
    person, job = message.person, message.job
    if person is not None and person.postal_address.strip():
        lines = person.postal_address.splitlines()
    elif job is not None:
        premises = job.system.premises
        lines = [*premises.address.splitlines(), premises.town, premises.postcode]
    else:
        lines = message.to_address.split(",")[1:]
    return tuple(line.strip() for line in lines if line.strip())


@transaction.atomic
def note_batch_posted(*, batch: LetterBatch, by: User, now: dt.datetime) -> int:
    """Note every letter of a printed batch as posted; gives how many. Twice changes nothing."""
    access.require_change(by, batch)
    ready = LetterBatch.objects.filter(pk=batch.pk, state=State.READY)
    if not ready.update(state=State.POSTED, posted_at=now, changed_at=now):
        return 0
    waiting = Message.objects.filter(public_id__in=batch.letters, state=Message.State.WAITING)
    return waiting.update(state=Message.State.SENT, sent_at=now, changed_at=now)


@transaction.atomic
def throw_away(*, batch: LetterBatch, by: User, now: dt.datetime) -> bool:
    """Give the letters of a batch back to wait; gives whether there was one to throw away."""
    access.require_change(by, batch)
    held = LetterBatch.objects.filter(pk=batch.pk, state__in=LetterBatch.HOLDING)
    return held.update(state=State.DROPPED, changed_at=now) == 1
