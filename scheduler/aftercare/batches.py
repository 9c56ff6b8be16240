"""Charges as CSV for any bookkeeping: numbered batches, each line in one batch and no other."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterable
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max

from customers import access
from customers.local_days import local_today
from customers.models import Organisation
from scheduler.models import Charge, ChargeBatch
from servicing.importers.refused import defused

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import User

# Headings are of our own and stay as they are: README.md says what each column holds.
COLUMNS = (
    "batch", "line", "charge", "date", "customer", "customer name", "customer address",
    "place", "agreement", "kind", "description", "covers from", "covers to",
    "before VAT", "VAT percent", "VAT", "with VAT", "VAT to check",
)  # fmt: skip


@transaction.atomic
def make_batch(*, organisation: Organisation, by: User, now: dt.datetime) -> ChargeBatch | None:
    """Hand over everything owed and due by today; None where nothing is.

    The file is kept as it was given out: fetching a batch again gives the same bytes, and pressing
    twice makes no second batch of the same lines.
    """
    access.require(by, "register", organisation)
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    owed = Charge.objects.filter(organisation=organisation).due(local_today(organisation, now))
    charges = list(
        owed.select_related("premises", "payer", "agreement__plan").order_by("charged_on", "pk")
    )
    if not charges:
        return None
    last = ChargeBatch.objects.filter(organisation=organisation).aggregate(last=Max("number"))
    number = (last["last"] or 0) + 1
    content = as_csv(charges, number)
    batch = ChargeBatch.objects.create(
        organisation=organisation,
        number=number,
        made_at=now,
        made_by=by,
        lines=len(charges),
        net_pence=sum(one.net_pence for one in charges),
        vat_pence=sum(one.vat_pence for one in charges),
        content=content,
        sha256=hashlib.sha256(content.encode()).hexdigest(),
    )
    for charge in charges:
        charge.state, charge.batch = Charge.State.EXPORTED, batch
        charge.save(update_fields=["state", "batch", "changed_at"])
    return batch


def as_csv(charges: Iterable[Charge], number: int) -> str:
    """The lines of a batch: dots for decimals, ISO dates, no cell that a spreadsheet would run."""
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    for line, charge in enumerate(charges, start=1):
        writer.writerow([defused(cell) for cell in _cells(charge, number, line)])
    return file.getvalue()


def _cells(charge: Charge, number: int, line: int) -> list[str]:
    payer = charge.payer
    address = (payer.postal_address if payer else "") or charge.premises.one_line_address
    return [
        str(number),
        str(line),
        str(charge.public_id),
        charge.charged_on.isoformat(),
        str(payer.public_id) if payer else "",
        payer.name if payer else "",
        ", ".join(part.strip() for part in address.splitlines() if part.strip()),
        str(charge.premises),
        str(charge.agreement.public_id) if charge.agreement else "",
        charge.service,
        charge.words,
        charge.covers_from.isoformat() if charge.covers_from else "",
        charge.covers_to.isoformat() if charge.covers_to else "",
        pounds(charge.net_pence),
        f"{charge.vat_percent.normalize():f}",
        pounds(charge.vat_pence),
        pounds(charge.gross_pence),
        "check" if charge.vat_is_to_check else "",
    ]


def pounds(pence: int) -> str:
    """Pence with a dot before the last two digits and no sign of currency."""
    return f"{Decimal(pence) / 100:.2f}"


@transaction.atomic
def void_charge(*, charge: Charge, because: str, by: User) -> Charge:
    """Take an owed charge back by hand. One that was exported, or void already, stays as it is."""
    access.require_change(by, charge)
    held = Charge.objects.select_for_update(of=("self",)).get(pk=charge.pk)
    if held.state == Charge.State.OWED:
        held.state, held.void_because = Charge.State.VOID, because.strip()[:200]
        held.save(update_fields=["state", "void_because", "changed_at"])
    return held
