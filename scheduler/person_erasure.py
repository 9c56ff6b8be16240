"""A person's data are erased: what law and papers do not need goes, what stays is named.

The row of the person stays under another name, for visits, papers and agreements refer to it.
Papers are kept as they were issued for the years of the country's profile.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from typing import TYPE_CHECKING, Any

from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db import transaction
from django.db.models import Q

from customers import access
from customers.erasing import ERASED, erase_words, without_signature, words_of
from customers.models import OwnerLink, Person, Removal, Suppression
from scheduler.messages.consent import MARKETING, address_hash
from scheduler.messages.texts import mobile_number
from scheduler.models import CalendarEvent, Delivery, FeedToken, Message, Reply
from servicing.importers.uploads import forget_lists
from servicing.models import LetterBatch, Paper, Visit, VisitPhoto
from servicing.retention import kept_until, papers_mentioning

if TYPE_CHECKING:
    import datetime as dt

    from django.db.models import QuerySet

    from customers.erasing import Words
    from customers.models import Party, User

NOWHERE = "erased.invalid"


class ErasureRefused(ValueError):
    """Not now; the reasons say what to do first."""

    def __init__(self, reasons: list[str]) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


def why_not_yet(person: Person, today: dt.date) -> list[str]:
    """What has to be done before a person can be erased."""
    now_at = person.parties.filter(Q(until=None) | Q(until__gte=today)).select_related("premises")
    reasons = [
        f"They are {party.get_role_display().lower()} of {party.premises}: "
        "say there until when, so that nobody goes on writing to them."
        for party in now_at
    ]
    waiting = Message.objects.filter(
        person=person, state__in=("waiting", "sending"), calendar_method="CANCEL"
    )
    if waiting.exists():
        reasons.append(
            "A last message takes a visit out of their calendar and has not gone out yet: "
            "try again when it has."
        )
    return reasons


@transaction.atomic
def erase_person(
    *, person: Person, because: str, by: User, now: dt.datetime, today: dt.date
) -> Removal:
    """Erase a person. Raises ErasureRefused with what must be done first.

    Erasing twice changes nothing: the first removal is given back.
    """
    access.require(by, "manage", person.organisation)
    before = person.removals.filter(kind=Removal.Kind.PERSON).first()
    if before is not None:
        return before
    if reasons := why_not_yet(person, today):
        raise ErasureRefused(reasons)
    words = words_of(person, more=_numbers(person))
    kept = what_stays(person, words, today)
    removed = _theirs(person, words, now)
    removed += erase_words(words, organisation=person.organisation, spare=(Paper, LetterBatch))
    _lists_on_disk(person, removed, kept)
    return Removal.objects.create(
        organisation=person.organisation,
        kind=Removal.Kind.PERSON,
        person=person,
        done_at=now,
        done_by=by,
        because=because[:300],
        removed=dict(removed),
        kept=kept,
    )


def _numbers(person: Person) -> list[str]:
    """Telephone numbers as text messages were sent to them."""
    country = person.organisation.profile.holidays_country
    phones = {row.phone for row in [person, *person.history.all()]}
    return [number for phone in phones if (number := mobile_number(phone, country))]


def what_stays(person: Person, words: Words, today: dt.date) -> list[dict[str, str]]:
    """What is kept for all that: papers for their years, and why; told to the office honestly."""
    kept = []
    for paper in papers_mentioning(person, words):
        until, source = kept_until(paper, today)
        kept.append({"what": str(paper), "until": until.isoformat(), "why": source})
    if words.shared:
        kept.append(
            {
                "what": "Texts in which a name or address stands that somebody else has too",
                "until": "",
                "why": "They may be about the other person: look them through by hand.",
            }
        )
    if VisitPhoto.objects.filter(system__premises__parties__person=person).exists():
        kept.append(
            {
                "what": "Photographs of covers and of what was found on visits",
                "until": "",
                "why": "They belong to the record of the system and should show nobody. "
                "Look them through: if one does show somebody, have it taken out. "
                "Signatures of theirs are not kept.",
            }
        )
    kept.append(
        {
            "what": "A fingerprint of each e-mail address",
            "until": "",
            "why": "So that nobody writes to it again; the address cannot be read from it.",
        }
    )
    return kept


def _theirs(person: Person, words: Words, now: dt.datetime) -> Counter[str]:
    """What belongs to the person alone, row by row of each kind."""
    emails = _emails(person)
    removed: Counter[str] = Counter()
    for email in emails:
        Suppression.objects.get_or_create(
            organisation=person.organisation,
            address_hash=address_hash(email, person.organisation),
            message_class=MARKETING,
            defaults={"reason": "erased at their wish", "since": now},
        )
    removed["messages"] = _messages(person, emails, now)
    removed["calendar entries"] = _calendar(person, emails)
    removed["signatures"] = _signatures(person, words)
    removed["lines about what they allow"] = person.preferences.all().delete()[0]
    removed["feeds"] = FeedToken.objects.filter(person=person).delete()[0]
    for link in OwnerLink.objects.filter(person=person, revoked_at=None):
        link.revoked_at = now
        link.save(update_fields=["revoked_at", "changed_at"])
        removed["links ended"] += 1
    removed["names and addresses"] = _the_person(person)
    LogEntry.objects.filter(
        content_type=ContentType.objects.get_for_model(Person), object_id=str(person.pk)
    ).update(object_repr=ERASED, change_message="")
    return removed


def _emails(person: Person) -> set[str]:
    return {row.email for row in [person, *person.history.all()] if row.email}


def _messages(person: Person, emails: set[str], now: dt.datetime) -> int:
    """Words and addresses of what was sent; that something was sent, and when, stays."""
    theirs = Message.objects.filter(
        Q(person=person) | Q(person=None, to_address__in=emails),
        organisation=person.organisation,
    )
    theirs.filter(state=Message.State.WAITING).update(
        state=Message.State.DROPPED, last_error="Erased at their wish."
    )
    _letters_printed(theirs)
    return theirs.update(
        to_name="",
        to_address=ERASED,
        subject=ERASED,
        body_text=ERASED,
        body_html="",
        calendar_text="",
        changed_at=now,
    )


def _letters_printed(theirs: QuerySet[Message]) -> None:
    """Files of letters printed together: the whole file goes, for it cannot be unpicked."""
    sent = {str(one) for one in theirs.filter(channel="post").values_list("public_id", flat=True)}
    if not sent:
        return
    organisation = theirs.values("organisation")[:1]
    for batch in LetterBatch.objects.filter(organisation__in=organisation):
        if batch.content and sent & set(batch.letters):
            batch.content, batch.sha256 = b"", hashlib.sha256(b"").hexdigest()
            batch.save(update_fields=["content", "sha256", "changed_at"])


def _calendar(person: Person, emails: set[str]) -> int:
    """Who was invited, and the answers; the visit itself stays."""
    events = CalendarEvent.objects.filter(
        Q(attendee_email__in=emails) | Q(messages__person=person),
        organisation=person.organisation,
        round=None,
    ).distinct()
    Reply.objects.filter(
        Q(event__in=events) | Q(from_address__in=emails), organisation=person.organisation
    ).update(from_address="", raw="", reason="")
    for event in events:
        event.attendee_name, event.description = "", ""
        event.attendee_email = f"{event.public_id.hex}@{NOWHERE}"
        event.save(update_fields=["attendee_name", "description", "attendee_email"])
    return len(events)


def _signatures(person: Person, words: Words) -> int:
    """Strokes of a signature of theirs: in visits, their history, and what telephones sent.

    A drawn signature without a name, of a day on which they belonged to the place, may be
    theirs and goes too.
    """
    theirs = Q()
    for name in words.sought:
        theirs |= Q(signed_by__icontains=name) | Q(who_was_present__icontains=name)
    for name in words.alone:
        theirs |= Q(signed_by__iexact=name) | Q(who_was_present__iexact=name)
    for party in person.parties.all():
        theirs |= Q(signed_by="", who_was_present="") & _in_the_days_of(party)
    if not theirs:
        return 0
    signed = Visit.objects.filter(theirs, organisation=person.organisation).exclude(signature="")
    keys = list(signed.values_list("sheet_key", flat=True))
    Visit.history.filter(theirs | Q(sheet_key__in=keys), organisation=person.organisation).update(
        signature=""
    )
    for delivery in Delivery.objects.filter(sheet_key__in=keys):
        lists = {name: one for name, one in delivery.contents.items() if isinstance(one, list)}
        emptied = {name: without_signature(one) for name, one in lists.items()}
        Delivery.objects.filter(pk=delivery.pk).update(contents={**delivery.contents, **emptied})
    return signed.update(signature="")


def _in_the_days_of(party: Party) -> Q:
    """Visits at the place of a party, on days on which it was one."""
    days = Q(system__premises=party.premises_id)
    if party.since:
        days &= Q(visited_on__gte=party.since)
    if party.until:
        days &= Q(visited_on__lte=party.until)
    return days


def _the_person(person: Person) -> int:
    """The person's own row and what it said before."""
    blank: dict[str, Any] = {"email": "", "phone": "", "postal_address": "", "notes": ""}
    blank["name"] = f"Erased person {person.pk}"
    for name, value in blank.items():
        setattr(person, name, value)
    person.save(update_fields=[*blank, "changed_at"])
    return int(person.history.update(**blank)) + 1


def _lists_on_disk(person: Person, removed: Counter[str], kept: list[dict[str, str]]) -> None:
    """Lists that were brought in and lie about for a week: they may hold anybody."""
    gone, working = forget_lists(person.organisation)
    removed["lists waiting to be brought in"] = gone
    if working:
        kept.append(
            {
                "what": "A list that is being brought in at this moment",
                "until": "",
                "why": "It goes by itself within a week; look whether it names them.",
            }
        )
