"""What day it is where an organisation works."""

from __future__ import annotations

import zoneinfo
from typing import TYPE_CHECKING

from django.utils import timezone

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import Organisation


def today_for(organisation: Organisation) -> dt.date:
    """Date on the wall of the organisation's office."""
    return timezone.localdate(timezone=zoneinfo.ZoneInfo(organisation.time_zone))
