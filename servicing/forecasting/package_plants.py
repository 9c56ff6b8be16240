"""Package treatment plants: the service that falls due beside the emptying of their settler.

The settler itself is forecast like a tank, with ``Kind.PACKAGE_PLANT`` and the settler's volume.
"""

from __future__ import annotations

from datetime import date

from servicing.forecasting.due_date import months_after
from servicing.forecasting.faults import BadMeasure

USUAL_SERVICE_MONTHS = 12.0  # yearly service: common practice, no source; the maker's interval wins


def service_due(
    last_service: date | None,
    installed_on: date | None,
    interval_months: float = USUAL_SERVICE_MONTHS,
) -> date:
    """The next service by the maker's interval in months, from the last one or installation.

    Raises BadMeasure for an interval outside 0..120 months, or if there is no date to count from.
    """
    if not 0 < interval_months <= 120:
        raise BadMeasure(
            "interval_months", f"must be between 0 and 120 months, not {interval_months}"
        )
    start = last_service or installed_on
    if start is None:
        raise BadMeasure(
            "last_service", "no service and no installation date: nothing to count from"
        )
    return months_after(start, interval_months)
