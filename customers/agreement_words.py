"""An agreement in words, as the customer is shown it before saying yes."""

from __future__ import annotations

import copy
import datetime as dt
import re
from typing import TYPE_CHECKING, Any

from django.template.loader import render_to_string

from customers.agreement_terms import instalments, price_of_term, right_to_cancel
from customers.country_rules import RuleBook
from customers.models.plans import COUNT_FIELDS, INCLUDABLE
from customers.vat import lines_of_fee, price_list, weights_of

if TYPE_CHECKING:
    from customers.models import Agreement
    from customers.vat import Line


def agreement_text(agreement: Agreement, *, today: dt.date, until: dt.date) -> str:
    """The offer in words: who, what, when, how much with VAT, and how to change one's mind."""
    address = ", ".join(agreement.organisation.address.split("\n"))
    facts = {**terms_of(agreement, today=today), "until": until, "firm_address": address}
    text = render_to_string("customers/agreement_text.txt", facts)
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def terms_of(agreement: Agreement, *, today: dt.date) -> dict[str, Any]:
    """What an agreement says, for a page or a text. Money in pence."""
    rules = RuleBook(agreement.organisation.profile, today)
    right = right_to_cancel(agreement=_informed(agreement, today), agreed_on=today, rules=rules)
    lines = year_lines(agreement, today=today)
    cooling = rules.rule("renewal_cooling_off_days")
    parts = instalments(agreement)
    return {
        "agreement": agreement,
        "plan": agreement.plan,
        "organisation": agreement.organisation,
        "premises": agreement.premises,
        "included": [
            (service.label, getattr(agreement.plan, COUNT_FIELDS[service]))
            for service in INCLUDABLE
            if getattr(agreement.plan, COUNT_FIELDS[service])
        ],
        "lines": lines,
        "net": sum(line.net_pence for line in lines),
        "vat": sum(line.vat_pence for line in lines),
        "gross": sum(line.gross_pence for line in lines),
        "to_check": any(line.rule.is_to_check for line in lines),
        "instalments": len(parts),
        "first_instalment": parts[0].pence,
        "term_pence": price_of_term(agreement),
        "right": right,
        "today": today,
        "notice_days": rules.rule("renewal_first_notice_days"),
        "cooling_off": cooling if cooling and cooling.value else None,
    }


def _informed(agreement: Agreement, today: dt.date) -> Agreement:
    """The offer tells of the right to cancel, so whoever agrees to it has been told."""
    told = copy.copy(agreement)
    told.information_given_on = agreement.information_given_on or today
    return told


def year_lines(agreement: Agreement, *, today: dt.date) -> list[Line]:
    """A year of the agreement line by line with VAT."""
    return lines_of_fee(
        agreement.price_pence,
        weights_of(agreement.plan.included, price_list(agreement.organisation, today)),
        agreement.premises.activity,
        RuleBook(agreement.organisation.profile, today),
    )
