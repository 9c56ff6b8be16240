"""What money the planner weighs jobs with: the organisation's own prices, ours where it has none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from customers.models import Organisation
    from scheduler.models import Tanker, Works

# Neither has a source: they are our own settings. What a year over the limit costs is what
# accepting a risk of one in ten stands for where an emptying costs 150.00 about every 2½ years
# (servicing/forecasting/risk_in_money.py has the formula; it gives about 900.00).
EMPTYING_PENCE = 150_00
YEAR_OVER_PENCE = 900_00
# Sending a tanker out for one job alone: its day, so many hours and so far, and a tip of so much.
# Common practice, no source; the money is the tanker's and the works' own.
ALONE_HOURS = 4
ALONE_KM = 100
ALONE_M3 = 4
# For who has no tanker of its own: the same sum with the prices a new tanker begins with.
ALONE_PENCE = 279_00


@dataclass(frozen=True, kw_only=True)
class Prices:
    """Prices in pence, and which of them are only our defaults: names of settings."""

    emptying_pence: int
    year_over_pence: int
    alone_pence: int
    assumed: frozenset[str]


def prices_of(
    organisation: Organisation, tankers: Sequence[Tanker] = (), works: Sequence[Works] = ()
) -> Prices:
    """Prices of who drives, from its settings and its fleet.

    Jobs of several installers are weighed with one measure, their operator's, so that none goes
    first because its owner set a higher price on trouble.
    """
    emptying, trouble = organisation.emptying_cost_pence, organisation.trouble_cost_pence
    alone = _alone(tankers, works)
    given = {"emptying": emptying, "trouble": trouble, "alone": alone}
    return Prices(
        emptying_pence=emptying or EMPTYING_PENCE,
        year_over_pence=trouble or YEAR_OVER_PENCE,
        alone_pence=alone or ALONE_PENCE,
        assumed=frozenset(name for name, price in given.items() if not price),
    )


def _alone(tankers: Sequence[Tanker], works: Sequence[Works]) -> int:
    """What the dearest tanker costs for one job alone, its tip at the dearest works included."""
    if not tankers:
        return 0
    out = max(
        one.fixed_pence_per_day + ALONE_HOURS * one.pence_per_hour + ALONE_KM * one.pence_per_km
        for one in tankers
    )
    charges = (one.charge_pence_per_visit + ALONE_M3 * one.charge_pence_per_m3 for one in works)
    return out + max(charges, default=0)
