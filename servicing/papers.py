"""Issuing papers: numbered, kept as they were given out, put right only by a new one."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.db import transaction
from django.db.models import Max
from django.urls import reverse

from customers import access
from customers.models import Organisation, Premises
from servicing import documents
from servicing.models import Paper, Visit, paper_number
from servicing.models.papers import new_token
from servicing.paper_drafts import Draft, PaperRefused

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from customers.models import User

Kind = Paper.Kind
CORRECTED = "The record of the visit was corrected."
CHANGED = "What is known of the work has changed since."

DRAW: Mapping[str, Callable[[Any, documents.Stamp], bytes]] = {
    Kind.SERVICE_RECORD: documents.service_record,
    Kind.TRANSFER_NOTE: documents.transfer_note,
    Kind.SEASON_TICKET: documents.season_ticket,
    Kind.HANDOVER_PACK: documents.handover_pack,
    Kind.AGREEMENT: documents.agreement,
    Kind.RENEWAL_NOTICE: documents.renewal_notice,
    Kind.JOB_SHEET: documents.job_sheet,
    Kind.RUN_SHEET: documents.run_sheet,
}


def may_issue(user: User | AnonymousUser, kind: str, organisation: Organisation) -> bool:
    """Whether `user` may issue such papers for `organisation`: crews those of visits."""
    return access.may(user, action_of(kind), organisation)


def require_issue(user: User | AnonymousUser, kind: str, organisation: Organisation) -> None:
    """Raise PermissionDenied unless `user` may issue such papers for `organisation`."""
    access.require(user, action_of(kind), organisation)


def action_of(kind: str) -> access.Action:
    """Which of the actions of customers.access issuing such a paper is."""
    return "visit" if kind in (*Paper.OF_VISITS, *Paper.OF_THE_CREW) else "register"


@transaction.atomic
def issue(*, draft: Draft, organisation: Organisation, by: User, today: dt.date) -> Paper:
    """Give the draft out under the next number of `organisation`, or the paper that stands.

    The same thing twice gives the same paper. A visit that was corrected since gets a new paper
    that names the old. Raises PermissionDenied for who may not, PaperRefused for what may not be.
    """
    require_issue(by, draft.kind, organisation)
    _hold(draft.premises, organisation)
    before = _standing(draft)
    if before is None:
        return _give_out(draft, organisation=organisation, by=by, today=today)
    because = _why_anew(before, draft)
    if not because:
        return before
    return _give_out(
        draft, organisation=organisation, by=by, today=today, replaces=before, because=because
    )


@transaction.atomic
def issue_again(
    *,
    paper: Paper,
    draft: Draft,
    because: str,
    organisation: Organisation,
    by: User,
    today: dt.date,
) -> Paper:
    """Give out a new paper that names the old and says why.

    Raises PaperRefused where the old one has been replaced already, or no reason is given.
    """
    require_issue(by, draft.kind, organisation)
    _hold(draft.premises, organisation)
    later = Paper.objects.filter(replaces=paper).first()
    if later is not None:
        raise PaperRefused(f"This paper has been replaced already, by number {later.number}.")
    if not because.strip():
        raise PaperRefused("Say why the paper is issued anew.")
    return _give_out(
        draft,
        organisation=organisation,
        by=by,
        today=today,
        replaces=paper,
        because=because.strip()[:300],
    )


def _hold(premises: Premises | None, organisation: Organisation) -> None:
    """Let two presses at once come one after the other."""
    if premises is not None:
        Premises.objects.select_for_update().get(pk=premises.pk)
    Organisation.objects.select_for_update().get(pk=organisation.pk)


def _standing(draft: Draft) -> Paper | None:
    """The paper that already says this, if one stands."""
    papers = Paper.objects.standing().filter(kind=draft.kind, premises=draft.premises)
    if draft.visit is not None:
        return papers.filter(visit__in=_with_earlier(draft.visit)).first()
    if draft.agreement is not None:
        return papers.filter(agreement=draft.agreement).first()
    last = papers.filter(system=draft.system, about=draft.about).first()
    if draft.about is not None:
        return last
    return last if last is not None and last.facts == plain(draft.facts) else None


def _why_anew(before: Paper, draft: Draft) -> str:
    """Why the paper that stands no longer does; empty while it does."""
    if draft.about is not None:
        return "" if before.facts == plain(draft.facts) else CHANGED
    return "" if before.visit_id == (draft.visit.pk if draft.visit else None) else CORRECTED


def _with_earlier(visit: Visit) -> list[int]:
    """Ids of a visit and of the records it corrects."""
    found, one = [visit.pk], Visit.objects.filter(replaced_by=visit).first()
    while one is not None:
        found.append(one.pk)
        one = Visit.objects.filter(replaced_by=one).first()
    return found


def _give_out(
    draft: Draft,
    *,
    organisation: Organisation,
    by: User,
    today: dt.date,
    replaces: Paper | None = None,
    because: str = "",
) -> Paper:
    sequence, token = next_sequence(organisation, today.year), new_token()
    stamp = documents.Stamp(
        number=paper_number(today.year, sequence),
        issued_on=today,
        check_at=check_address(token),
        replaces=replaces.number if replaces else "",
        replaces_because=because,
    )
    content = DRAW[draft.kind](draft.facts, stamp)
    return Paper.objects.create(
        organisation=organisation,
        kind=draft.kind,
        year=today.year,
        sequence=sequence,
        issued_on=today,
        issued_by=by,
        premises=draft.premises,
        system=draft.system,
        visit=draft.visit,
        agreement=draft.agreement,
        about=draft.about,
        person=draft.person,
        replaces=replaces,
        because=because,
        token=token,
        asked=dict(draft.asked),
        facts=plain(draft.facts),
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
    )


def next_sequence(organisation: Organisation, year: int) -> int:
    """The next number of a year; the organisation is held, so that nobody else takes it."""
    used = Paper.objects.filter(organisation=organisation, year=year)
    return (used.aggregate(last=Max("sequence"))["last"] or 0) + 1


def check_address(token: str) -> str:
    """Address at which anybody may see whether a paper stands."""
    return f"{settings.SITE_ADDRESS}{reverse('servicing:paper_check', args=[token])}"


def plain(facts: Any) -> Any:
    """Facts as JSON keeps them, without their pictures."""

    def bare(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: bare(one) for key, one in value.items() if key != "svg"}
        return [bare(one) for one in value] if isinstance(value, list | tuple) else value

    return json.loads(json.dumps(bare(asdict(facts)), default=str))
