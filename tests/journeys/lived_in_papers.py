"""Papers, letters, tickets and a question in the lived-in valley, so that their pages are walked."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from customers.models import Organisation, Premises, User
from scheduler import letters
from scheduler.models import Round, Stop
from servicing import paper_drafts
from servicing.models import LetterBatch, Question, System, Visit
from servicing.papers import issue


@dataclass(frozen=True)
class Papers:
    """Where to begin: for who is signed in at the office, and for who holds a paper or a cover."""

    office: tuple[str, ...]
    by_link: tuple[str, ...]


def give_papers_out(owners: Premises, today: dt.date) -> Papers:
    """Issue papers at an owner's place, gather letters, ask a question."""
    ines = User.objects.get(email="ines@larkholt.example")
    visits = Visit.objects.that_count().filter(organisation__slug="larkholt")
    first = visits.filter(emptying__isnull=False).earliest("pk")
    firm = first.organisation
    record = paper_drafts.service_record_draft(visit=first, organisation=firm, today=today)
    pack = paper_drafts.handover_pack_draft(premises=owners, today=today)
    papers = [
        issue(draft=draft, organisation=firm, by=ines, today=today) for draft in (pack, record)
    ]
    without = visits.exclude(pk=first.pk).exclude(papers__isnull=False).earliest("pk")
    question(first.system, today)
    return Papers(
        office=(
            *(reverse("servicing:paper", args=[paper.public_id]) for paper in papers),
            reverse("servicing:papers", args=[without.system.premises.public_id]),
            *batches(ines, today),
        ),
        by_link=(
            reverse("servicing:paper_check", args=[papers[0].token]),
            reverse("scheduler:lid", args=[first.system.public_id]),
        ),
    )


def question(system: System, today: dt.date) -> None:
    """A measurement the office is asked about."""
    Question.objects.create(
        organisation=system.organisation,
        system=system,
        code="much_fuller",
        about_on=today,
        text="The measurement is much fuller than expected.",
        choices=["measure_again"],
    )


def batches(ines: User, today: dt.date) -> list[str]:
    """Letters ready to be posted, and a batch whose worker fell silent."""
    larkholt = Organisation.objects.get(slug="larkholt")
    ready = letters.gather_batch(organisation=larkholt, by=ines, today=today, now=timezone.now())
    letters.lay_out(ready.pk)
    silent = LetterBatch.objects.create(
        organisation=larkholt, state="working", letters=ready.letters, written_on=today
    )
    long_ago = timezone.now() - 2 * letters.SILENT_AFTER
    LetterBatch.objects.filter(pk=silent.pk).update(changed_at=long_ago)
    return [reverse("scheduler:letter_batch", args=[one.public_id]) for one in (ready, silent)]


def tip_first_load(planned: Round, tess: Client) -> None:
    """Tess notes the ticket of the first works on her round."""
    stop = planned.stops.filter(kind=Stop.Kind.TIP).earliest("position")
    said = {f"tip-{stop.pk}-volume": "2500", f"tip-{stop.pk}-ticket": "NM40001"}
    answer = tess.post(reverse("scheduler:stop_tipped", args=[stop.public_id]), said)
    assert answer.status_code == 302
