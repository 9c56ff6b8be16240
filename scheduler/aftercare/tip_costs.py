"""What it cost to tip what was taken out on a visit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from customers.money import nearest
from scheduler.models import Stop, Works

if TYPE_CHECKING:
    from servicing.models import Visit

from fractions import Fraction

LITRES_PER_M3 = 1000


def tip_cost_of(visit: Visit) -> int | None:
    """Pence the works charged for the visit's litres; None where nobody knows which works.

    A load tipped after the visit on the same round with its charge: the share by litres. Else the
    price a cubic metre of the works that the sheet names, and of its charge a visit the share
    that the litres are of a full load of the tanker on the round. Without a round nobody knows
    the load, and the charge a visit is left out: a customer never pays for more than their share.
    """
    emptying = getattr(visit, "emptying", None)
    if emptying is None or emptying.litres_removed is None:
        return None
    litres = round(emptying.litres_removed)
    job = getattr(visit, "job", None)
    stop = Stop.objects.filter(job=job, round__accepted_at__isnull=False).first() if job else None
    if stop is not None:
        after = stop.round.tips.filter(
            tipped_at__gte=stop.left_at or stop.depart_at, charge_pence__isnull=False, litres__gt=0
        )
        tip = after.order_by("tipped_at").first()
        if tip is not None and tip.charge_pence is not None:
            return nearest(Fraction(tip.charge_pence * min(litres, tip.litres), tip.litres))
    driven_by = {visit.organisation_id, visit.system.organisation.tanker_operator_id}
    works = Works.objects.filter(name=emptying.tipped_at, organisation__in=driven_by).first()
    if works is None:
        return None
    asked = Fraction(works.charge_pence_per_m3 * litres, LITRES_PER_M3)
    if stop is not None:
        full = stop.round.tanker.capacity_litres
        asked += Fraction(works.charge_pence_per_visit * min(litres, full), full)
    return nearest(asked)
