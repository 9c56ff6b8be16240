"""Why a job is planned now rather than later, in the money that the planner weighs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .job_choice import TANKER_WORK
from .prices import prices_of
from .problem import fleet_of
from .worth import waiting_of

if TYPE_CHECKING:
    import datetime as dt

    from customers.models import Organisation
    from scheduler.models import Job

    from .worth import Waiting


def why_now(job: Job, here: Organisation, today: dt.date) -> Waiting | None:
    """What waiting would cost by the prices of `here`; None where no tanker is to come."""
    if not job.is_open or job.kind not in TANKER_WORK:
        return None
    fleet = fleet_of(here)
    return waiting_of(job, today, prices_of(here, fleet.tankers, fleet.works))
