"""What somebody with a link is to the place, and so what they should see of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q
from django.utils import timezone

from customers.models import Party
from servicing.models import Paper

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import OwnerLink
    from servicing.models import PaperQuerySet

DECIDES = frozenset({Party.Role.OWNER, Party.Role.OPERATOR})
# Whoever does not decide about the place has no use for what is handed over or paid.
FOR_WHO_DECIDES = (
    Paper.Kind.HANDOVER_PACK,
    Paper.Kind.AGREEMENT,
    Paper.Kind.RENEWAL_NOTICE,
    Paper.Kind.SEASON_TICKET,
)


@dataclass(frozen=True)
class Part:
    """Roles of one person at one place today."""

    roles: frozenset[str]

    @property
    def decides(self) -> bool:
        """Owner or operator: may tell of a sale, note checks, and has every paper."""
        return bool(self.roles & DECIDES)

    @property
    def in_words(self) -> str:
        """As what they are written down; empty where as nothing."""
        names = [str(role.label) for role in Party.Role if role in self.roles]
        return " and ".join(names).replace(" (legal duty-holder)", "").lower()


def part_of(link: OwnerLink, today: dt.date | None = None) -> Part:
    """What the person of a link is to its place."""
    today = today or timezone.now().date()
    parties = link.person.parties.filter(
        Q(since=None) | Q(since__lte=today),
        Q(until=None) | Q(until__gte=today),
        premises=link.premises,
    )
    return Part(frozenset(parties.values_list("role", flat=True)))


def papers_for(link: OwnerLink, part: Part | None = None) -> PaperQuerySet:
    """Papers of the place that this person may have: none that names somebody else."""
    papers = Paper.objects.for_owner(link.person).filter(premises=link.premises)
    if (part or part_of(link)).decides:
        return papers
    return papers.exclude(Q(kind__in=FOR_WHO_DECIDES) & ~Q(person=link.person))
