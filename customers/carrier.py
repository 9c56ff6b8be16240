"""Whether an organisation may carry waste on a day, and how long still."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from customers.models import Organisation

# Natural Resources Wales reminds carriers about six weeks before.
WARNED_BEFORE = dt.timedelta(weeks=6)


@dataclass(frozen=True, slots=True)
class CarrierNotice:
    """What is wrong or soon will be, and what to do. `stops` says that no note is issued."""

    text: str
    stops: bool


def carrier_notice(organisation: Organisation, today: dt.date) -> CarrierNotice | None:
    """What to say of the carrier's registration; None while all is well."""
    ends, begins = organisation.carrier_valid_to, organisation.carrier_valid_from
    if not organisation.carrier_registration or ends is None:
        text = (
            "The waste carrier registration, or the day it runs out, is not recorded: no transfer "
            "note can be issued. Put both in the settings."
        )
        return CarrierNotice(text, stops=True)
    said = f"{ends:%d %B %Y}".lstrip("0")
    if ends < today:
        text = (
            f"The waste carrier registration ran out on {said}: no transfer note is issued for "
            "what is carried since. Carry nothing until it is renewed, then put the new dates in "
            "the settings."
        )
        return CarrierNotice(text, stops=True)
    if begins is not None and begins > today:
        first = f"{begins:%d %B %Y}".lstrip("0")
        text = f"The waste carrier registration holds only from {first}: carry nothing before."
        return CarrierNotice(text, stops=True)
    if ends - today <= WARNED_BEFORE:
        text = (
            f"The waste carrier registration runs out on {said}. Renew it with the regulator, then "
            "put the new dates in the settings: from the day after, no transfer note is issued."
        )
        return CarrierNotice(text, stops=False)
    return None
