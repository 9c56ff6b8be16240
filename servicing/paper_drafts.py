"""Papers before they have a number: what they would say, or why they may not be printed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from customers.models import Agreement, Organisation, Person, Premises
from servicing import documents, paper_facts
from servicing.models import Paper, System, Visit

Kind = Paper.Kind


class PaperRefused(ValueError):
    """The paper may not be printed; the reasons say what to put right."""

    def __init__(self, *reasons: str) -> None:
        super().__init__(" ".join(reasons))
        self.reasons = reasons


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A paper before it has a number: what it says and what it is about."""

    kind: Kind
    facts: Any
    premises: Premises | None
    system: System | None = None
    visit: Visit | None = None
    agreement: Agreement | None = None
    person: Person | None = None
    about: UUID | None = None
    asked: Mapping[str, str] = field(default_factory=dict)


def last_record(visit: Visit) -> Visit:
    """The record that counts: the visit itself, or what it was corrected to."""
    while visit.replaced_by is not None:
        visit = visit.replaced_by
    return visit


def service_record_draft(*, visit: Visit, organisation: Organisation, today: dt.date) -> Draft:
    """Service record of a visit."""
    visit = last_record(visit)
    issuer = paper_facts.issuer_of(organisation)
    return Draft(
        kind=Kind.SERVICE_RECORD,
        facts=paper_facts.service_record_facts(visit, issuer=issuer, today=today),
        premises=visit.system.premises,
        system=visit.system,
        visit=visit,
    )


def transfer_note_draft(
    *,
    visit: Visit,
    organisation: Organisation,
    carrier: Organisation,
    activity_code: str = "",
    receiver: paper_facts.Receiver | None = None,
) -> Draft:
    """Transfer note of an emptying. Raises PaperRefused with everything that speaks against it."""
    visit = last_record(visit)
    if getattr(visit, "emptying", None) is None:
        raise PaperRefused("Nothing was taken out on this visit: there is nothing to transfer.")
    if visit.carried_out_by_others:
        raise PaperRefused("Somebody else took this load: the transfer note is theirs to give.")
    note = paper_facts.transfer_facts(
        visit,
        issuer=paper_facts.issuer_of(organisation),
        carrier=carrier,
        activity_code=activity_code,
        receiver=receiver,
    )
    if reasons := documents.why_not(note):
        raise PaperRefused(*reasons)
    return Draft(
        kind=Kind.TRANSFER_NOTE,
        facts=note,
        premises=visit.system.premises,
        system=visit.system,
        visit=visit,
        person=paper_facts.transferor_of(visit.system.premises, visit.visited_on),
        asked={
            "carrier": str(carrier.public_id),
            "activity_code": activity_code,
            "permit": receiver.permit if receiver else "",
            "code": receiver.code if receiver else "",
        },
    )


def season_ticket_draft(
    *,
    system: System,
    carrier: Organisation,
    begins_on: dt.date,
    ends_on: dt.date,
    activity_code: str = "",
) -> Draft:
    """Season ticket of a system. Raises PaperRefused with everything that speaks against it."""
    ticket = paper_facts.season_facts(
        system,
        issuer=paper_facts.issuer_of(system.organisation),
        carrier=carrier,
        begins_on=begins_on,
        ends_on=ends_on,
        activity_code=activity_code,
    )
    if reasons := documents.why_not_season(ticket):
        raise PaperRefused(*reasons)
    return Draft(
        kind=Kind.SEASON_TICKET,
        facts=ticket,
        premises=system.premises,
        system=system,
        person=paper_facts.transferor_of(system.premises, begins_on),
        asked={
            "carrier": str(carrier.public_id),
            "begins_on": begins_on.isoformat(),
            "ends_on": ends_on.isoformat(),
            "activity_code": activity_code,
        },
    )


def handover_pack_draft(*, premises: Premises, today: dt.date) -> Draft:
    """Handover pack of a place. Raises PaperRefused where nothing in use is buried there."""
    issuer = paper_facts.issuer_of(premises.organisation)
    pack = paper_facts.handover_facts(premises, issuer=issuer, today=today)
    if not pack.systems:
        raise PaperRefused("No system in use is registered here: there is nothing to hand over.")
    return Draft(kind=Kind.HANDOVER_PACK, facts=pack, premises=premises)


def agreement_draft(*, agreement: Agreement, today: dt.date) -> Draft:
    """The agreement on paper."""
    issuer = paper_facts.issuer_of(agreement.organisation)
    return Draft(
        kind=Kind.AGREEMENT,
        facts=paper_facts.agreement_facts(agreement, issuer=issuer, today=today),
        premises=agreement.premises,
        agreement=agreement,
        person=agreement.payer,
    )


def renewal_notice_draft(
    *, agreement: Agreement, new_price_pence: int, today: dt.date, reason: str = ""
) -> Draft:
    """Notice of renewal. Raises PaperRefused for a new price without its reason."""
    if new_price_pence != agreement.price_pence and not reason.strip():
        raise PaperRefused("The price changes: give the reason, it is printed on the notice.")
    facts = paper_facts.renewal_facts(
        agreement,
        issuer=paper_facts.issuer_of(agreement.organisation),
        new_price_pence=new_price_pence,
        today=today,
        reason=reason.strip(),
    )
    return Draft(
        kind=Kind.RENEWAL_NOTICE,
        facts=facts,
        premises=agreement.premises,
        agreement=agreement,
        person=agreement.payer,
        asked={"new_price_pence": str(new_price_pence), "reason": reason.strip()},
    )


def same_again(*, paper: Paper, today: dt.date) -> Draft:
    """The draft of a paper from what is known by now, with what was chosen when it was issued."""
    asked = paper.asked
    if paper.kind in Paper.OF_THE_CREW or paper.premises is None:
        raise PaperRefused("Issue the sheet of a crew anew from its job or its round.")
    if paper.kind == Kind.HANDOVER_PACK:
        return handover_pack_draft(premises=paper.premises, today=today)
    if paper.agreement is not None and paper.kind == Kind.AGREEMENT:
        return agreement_draft(agreement=paper.agreement, today=today)
    if paper.agreement is not None:
        return renewal_notice_draft(
            agreement=paper.agreement,
            new_price_pence=int(asked["new_price_pence"]),
            today=today,
            reason=asked["reason"],
        )
    if paper.visit is not None and paper.kind == Kind.SERVICE_RECORD:
        return service_record_draft(visit=paper.visit, organisation=paper.organisation, today=today)
    carrier = Organisation.objects.get(public_id=asked["carrier"])
    if paper.visit is not None:
        return transfer_note_draft(
            visit=paper.visit,
            organisation=paper.organisation,
            carrier=carrier,
            activity_code=asked["activity_code"],
            receiver=paper_facts.Receiver(asked.get("permit", ""), asked.get("code", "")),
        )
    assert paper.system is not None
    return season_ticket_draft(
        system=paper.system,
        carrier=carrier,
        begins_on=dt.date.fromisoformat(asked["begins_on"]),
        ends_on=dt.date.fromisoformat(asked["ends_on"]),
        activity_code=asked["activity_code"],
    )
