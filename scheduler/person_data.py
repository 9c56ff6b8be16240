"""What is held about a person: to be read, and to be taken along as JSON."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.utils.translation import gettext, gettext_noop

from customers.models import Agreement, Sale
from scheduler.models import CalendarEvent, DayRequest, FeedToken, Message, TroubleReport
from servicing.models import Occupancy, Paper, Visit
from servicing.retention import kept_until, record_years

if TYPE_CHECKING:
    from customers.models import Person

FORMAT = "ebbmark-person-1"
Row = dict[str, Any]
# Answers to an invitation: RFC 5545, 3.2.12.
ANSWERS = {
    "NEEDS-ACTION": gettext_noop("no answer yet"),
    "ACCEPTED": gettext_noop("accepted"),
    "DECLINED": gettext_noop("declined"),
    "TENTATIVE": gettext_noop("perhaps"),
}


@dataclass(frozen=True)
class Section:
    """One kind of thing that is held, row by row; the keys of a row are its column heads."""

    key: str
    title: str
    why: str
    rows: tuple[Row, ...]


def person_sections(person: Person, today: dt.date) -> list[Section]:
    """Everything that is held about a person, with why it is held."""
    found = [Section(key, title, why, tuple(rows(person))) for key, title, why, rows in SECTIONS]
    title = gettext_noop("Papers that name you")
    why = gettext_noop("Rules ask for them for so many years")
    return [*found, Section("papers", title, why, tuple(_papers(person, today)))]


def as_json(person: Person, sections: Iterable[Section], *, now: dt.datetime) -> Row:
    """The same for machines: dates in ISO 8601, keys as on the page."""
    return {
        "format": FORMAT,
        "made_at": now.isoformat(),
        "held_by": person.organisation.name,
        "person": person.name,
        "held": {
            one.key: [{key: plain(value) for key, value in row.items()} for row in one.rows]
            for one in sections
        },
    }


def plain(value: Any) -> Any:
    """A value as JSON knows it."""
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    return value if isinstance(value, str | int | float | bool | None) else str(value)


def _who(person: Person) -> Iterable[Row]:
    yield {
        "name": person.name,
        "e-mail": person.email,
        "telephone": person.phone,
        "postal address": person.postal_address,
        "language": person.language,
        "notes of the office": person.notes,
        "written down": person.created_at,
        "last changed": person.changed_at,
    }


def _before(person: Person) -> Iterable[Row]:
    for row in person.history.all():
        yield {
            "when": row.history_date,
            "name": row.name,
            "e-mail": row.email,
            "telephone": row.phone,
            "postal address": row.postal_address,
            "notes of the office": row.notes,
        }


def _places(person: Person) -> Iterable[Row]:
    for party in person.parties.select_related("premises"):
        yield {
            "place": str(party.premises),
            "address": party.premises.one_line_address,
            "as": gettext(party.get_role_display()),
            "since": party.since,
            "until": party.until,
        }


def _allowed(person: Person) -> Iterable[Row]:
    for line in person.preferences.all():
        yield {
            "when": line.recorded_at,
            "channel": gettext(line.get_channel_display()),
            "kind": gettext(line.get_message_class_display()),
            "allowed": line.allowed,
            "how we know": gettext(line.how) if line.how else "",
        }


def _messages(person: Person) -> Iterable[Row]:
    for message in Message.objects.filter(person=person):
        yield {
            "written": message.created_at,
            "sent": message.sent_at,
            "to": message.to_address,
            "by": gettext(message.get_channel_display()),
            "subject": message.subject,
            "words": message.body_text,
        }


def _calendar(person: Person) -> Iterable[Row]:
    theirs = Q(messages__person=person)
    if person.email:
        theirs |= Q(attendee_email__iexact=person.email)
    events = CalendarEvent.objects.filter(theirs, organisation=person.organisation, round=None)
    for event in events.distinct():
        yield {
            "what": event.summary,
            "begins": event.starts_at,
            "ends": event.ends_at,
            "to": event.attendee_email,
            "answer": gettext(ANSWERS.get(event.participation, event.participation)),
            "cancelled": event.cancelled_at,
        }


def _told(person: Person) -> Iterable[Row]:
    for report in TroubleReport.objects.filter(person=person):
        yield {
            "when": report.reported_at,
            "what": gettext("Trouble reported"),
            "words": report.words,
        }
    for wish in DayRequest.objects.filter(person=person):
        days = ", ".join(wish.days)
        yield {
            "when": wish.asked_at,
            "what": gettext("Other days: %(days)s") % {"days": days},
            "words": wish.words,
        }
    for check in person.operator_checks.select_related("system"):
        what = gettext("Looked at: %(system)s") % {"system": check.system.reference}
        yield {"when": check.checked_on, "what": what, "words": check.words}
    for row in Occupancy.objects.filter(
        told_by=person.name, system__organisation=person.organisation
    ):
        facts = {"persons": row.persons, "since": row.since}
        what = gettext("How many live there: %(persons)s, from %(since)s") % facts
        yield {"when": row.told_at, "what": what, "words": ""}


def _calls(person: Person) -> Iterable[Row]:
    for call in person.calls.all():
        yield {
            "when": call.rung_at,
            "why": call.why,
            "outcome": gettext(call.get_outcome_display()),
            "words": call.words,
        }


def _visits(person: Person) -> Iterable[Row]:
    here = Q(signed_by__iexact=person.name) | Q(who_was_present__iexact=person.name)
    for visit in Visit.objects.filter(here, organisation=person.organisation):
        yield {
            "when": visit.visited_on,
            "present": visit.who_was_present,
            "signed by": visit.signed_by,
            "signature kept": bool(visit.signature),
        }


def _agreements(person: Person) -> Iterable[Row]:
    for one in Agreement.objects.filter(payer=person).select_related("plan", "premises"):
        yield {
            "plan": str(one.plan),
            "place": str(one.premises),
            "from": one.starts_on,
            "until": one.ends_on,
            "pence a year": one.price_pence,
            "ended": one.ended_on,
        }


def _papers(person: Person, today: dt.date) -> Iterable[Row]:
    for paper in Paper.objects.filter(person=person).listed():
        until, why = kept_until(paper, today)
        name = f"{gettext(paper.get_kind_display())} {paper.number}"
        yield {"paper": name, "issued": paper.issued_on, "kept until": until, "why": gettext(why)}


def _links(person: Person) -> Iterable[Row]:
    for link in person.links.select_related("premises"):
        yield {
            "page of": str(link.premises),
            "made": link.created_at,
            "last opened": link.last_opened_at,
            "times opened": link.times_opened,
            "ended": link.revoked_at,
        }
    for feed in FeedToken.objects.filter(person=person):
        yield {
            "page of": gettext("Calendar feed"),
            "made": feed.created_at,
            "ended": feed.revoked_at,
        }


def _sales(person: Person) -> Iterable[Row]:
    for sale in Sale.objects.filter(Q(buyer=person) | Q(asked_by=person)).select_related(
        "premises"
    ):
        yield {
            "place": str(sale.premises),
            "completion": sale.completes_on,
            "as": gettext("new owner") if sale.buyer_id == person.pk else gettext("seller"),
        }


def years_in_words(person: Person, today: dt.date) -> str:
    """How long records are kept and who says so."""
    years = record_years(person.organisation.profile, today)
    source = gettext(years.source)
    if not years.is_law:
        source = gettext("to be checked: %(source)s") % {"source": source}
    return gettext("%(years)s years (%(source)s)") % {"years": years.years, "source": source}


# Titles and reasons have their other languages in scheduler/owner_phrases.py.
SECTIONS: tuple[tuple[str, str, str, Callable[[Person], Iterable[Row]]], ...] = (
    ("who", "Who you are", "To reach you about the system", _who),
    ("before", "What stood there before", "So that mistakes can be put right", _before),
    ("places", "What you are to which place", "Duties hang on it", _places),
    ("allowed", "What you allow us", "To keep to it", _allowed),
    ("messages", "What we wrote to you", "To show what was said", _messages),
    ("calendar", "Visits in your calendar", "To move or cancel them there", _calendar),
    ("told", "What you told us", "It changes dates and brings help", _told),
    ("calls", "Telephone calls", "So that nobody asks twice", _calls),
    ("visits", "Visits at which you were present", "Proof of the work", _visits),
    ("agreements", "Agreements you pay for", "The contract between us", _agreements),
    ("links", "Links to your page", "To let you in, and nobody else", _links),
    ("sales", "Sales", "To hand the place over", _sales),
)
