"""How much an emptying takes out and how long it takes, before anybody has been there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from servicing.models import Forecast

# On site: common practice, no source; a house tank takes 30-45 minutes, a plant 45-90.
EMPTYING_MINUTES = 40
EMPTYING_MINUTES_PER_LITRE = 1 / 400
# The smallest septic tank in common use holds about this: common practice, no source.
USUAL_LITRES = 2700


def litres_of(row: Forecast) -> int:
    """Litres that an emptying takes out: all below the outlet; a house tank's where not known."""
    return round(row.working_volume_litres or USUAL_LITRES)


def emptying_minutes(litres: int) -> int:
    """Minutes on site for taking out so much."""
    return round(EMPTYING_MINUTES + max(0, litres - 4000) * EMPTYING_MINUTES_PER_LITRE)
