"""What is past its years: listed, and taken away only when somebody says so."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max, QuerySet

from customers import access
from customers.local_days import local_today
from customers.models import OwnerLink, Party, Person, Removal
from scheduler.models import Call, DayRequest, Message, Reply, TroubleReport
from scheduler.person_erasure import ErasureRefused, erase_person
from servicing.models import LetterBatch
from servicing.retention import let_go_of_papers, past_papers, record_years, years_before

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any

    from customers.models import Organisation, User

# The log of messages: two years show what was said about the last visits (our own rule).
MESSAGE_YEARS = 2


@dataclass(frozen=True)
class Kind:
    """A kind of record past its years: how many, since when, and what of the system stays."""

    key: str
    name: str
    rows: QuerySet[Any]
    written_until: dt.date
    why: str

    @property
    def number(self) -> int:
        """How many there are."""
        return self.rows.count()


def past_years(organisation: Organisation, today: dt.date) -> list[Kind]:
    """Every kind of record of an organisation, with those past their years.

    What was measured and done at a system is its history: it stays while the system does.
    """
    years = record_years(organisation.profile, today)
    long_ago, lately = years_before(today, years.years), years_before(today, MESSAGE_YEARS)
    return [
        Kind("papers", "Issued papers", past_papers(organisation, today), long_ago, years.source),
        Kind(
            "people",
            "People who left every place",
            gone_people(organisation, long_ago),
            long_ago,
            years.source,
        ),
        Kind(
            "reports",
            "Trouble that owners told",
            past(TroubleReport, "reported_at", long_ago, system__organisation=organisation),
            long_ago,
            years.source,
        ),
        *past_talk(organisation, lately),
    ]


def past_talk(organisation: Organisation, lately: dt.date) -> list[Kind]:
    """What was said to and fro, which is kept for a shorter time."""
    own, mine = f"{MESSAGE_YEARS} years: our own rule", {"organisation": organisation}
    ended = Message.objects.filter(**mine, state__in=("sent", "dead", "dropped"))
    printed = LetterBatch.objects.filter(**mine, state__in=("posted", "dropped", "failed"))
    wishes = past(DayRequest, "asked_at", lately, job__organisation=organisation)
    kinds: tuple[tuple[str, str, QuerySet[Any]], ...] = (
        ("messages", "Messages and letters sent", ended.filter(created_at__date__lt=lately)),
        ("replies", "Answers by mail", past(Reply, "received_at", lately, **mine)),
        ("letters", "Files of letters printed", printed.filter(written_on__lt=lately)),
        ("wishes", "Wishes for other days", wishes),
        ("calls", "Telephone calls", past(Call, "rung_at", lately, **mine)),
        ("links", "Links that have ended", past(OwnerLink, "revoked_at", lately, **mine)),
    )
    return [Kind(key, name, rows, lately, own) for key, name, rows in kinds]


def past(model: Any, field: str, until: dt.date, **of: Any) -> QuerySet[Any]:
    """Rows of an organisation older than a day."""
    rows: QuerySet[Any] = model.objects.filter(**of, **{f"{field}__date__lt": until})
    return rows


def gone_people(organisation: Organisation, until: dt.date) -> QuerySet[Person]:
    """People who had to do with a place once, with none since a day, and are not erased."""
    return (
        Person.objects.filter(organisation=organisation, removals=None)
        .annotate(left_on=Max("parties__until"))
        .filter(left_on__lt=until)
        .exclude(pk__in=Party.objects.filter(until=None).values("person"))
    )


@transaction.atomic
def clear_past_years(
    *, organisation: Organisation, keys: Iterable[str], by: User, now: dt.datetime
) -> Removal:
    """Take away what is past its years, of the kinds named. Twice finds nothing the second time."""
    access.require(by, "manage", organisation)
    today = local_today(organisation, now)
    removed: dict[str, int] = {}
    wanted = set(keys)
    for kind in past_years(organisation, today):
        if kind.key in wanted:
            removed[kind.name.lower()] = _clear(kind, by, now, today)
    return Removal.objects.create(
        organisation=organisation,
        kind=Removal.Kind.YEARS,
        done_at=now,
        done_by=by,
        because="Past their years",
        removed=removed,
    )


def _clear(kind: Kind, by: User, now: dt.datetime, today: dt.date) -> int:
    if kind.key == "papers":
        return let_go_of_papers(kind.rows)
    if kind.key == "people":
        return sum(_erase(person, by, now, today) for person in kind.rows)
    keys = list(kind.rows.values_list("pk", flat=True))
    kind.rows.model._base_manager.filter(pk__in=keys).delete()  # noqa: SLF001
    return len(keys)


def _erase(person: Person, by: User, now: dt.datetime, today: dt.date) -> int:
    try:
        erase_person(person=person, because="Past their years", by=by, now=now, today=today)
    except ErasureRefused:
        return 0
    return 1
