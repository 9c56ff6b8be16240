"""Work shared with a tanker operator: which one drives for us, and jobs handed over and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import transaction

from customers import access
from customers.models import Organisation
from customers.organisation_settings import change_organisation
from scheduler import booking, due_work
from scheduler.models import Job, Tanker

if TYPE_CHECKING:
    from collections.abc import Iterable

    from customers.models import User


class NoSuchOperator(ValueError):
    """The code names nobody who could drive for us; the message says so plainly."""


@dataclass(frozen=True, kw_only=True)
class Handed:
    """What handing over many jobs did: how many went, and why others did not."""

    jobs: int
    refused: tuple[str, ...]


def operator_by_code(code: str, *, of: Organisation) -> Organisation:
    """The operator of that code. It is told by the operator itself: nobody can browse others.

    Raises NoSuchOperator when there is none, it is ourselves, or it has no tanker in use.
    """
    operator = Organisation.objects.filter(slug=code.strip().lower()).exclude(pk=of.pk).first()
    drives = operator is not None and Tanker.objects.filter(organisation=operator, in_use=True)
    if operator is None or not drives:
        message = "No tanker operator has this code. Ask yours for it: it stands on its own page."
        raise NoSuchOperator(message)
    return operator


def choose_operator(
    *, organisation: Organisation, operator: Organisation | None, by: User
) -> Organisation:
    """Let `operator` drive new emptyings of `organisation`; None drives them ourselves again.

    Jobs made before stay with whoever has them.
    """
    return change_organisation(
        organisation=organisation, by=by, facts={"tanker_operator": operator}
    )


@transaction.atomic
def hand_over_many(*, jobs: Iterable[Job], operator: Organisation | None, by: User) -> Handed:
    """Hand own jobs to `operator`, or take them back with None; what cannot go is said."""
    count, refused = 0, []
    for job in jobs:
        access.require(by, "plan", job.organisation)
        try:
            due_work.hand_over(job=job, operator=operator, by=by)
        except booking.NotPossible as fault:
            refused.append(f"{job.system.reference}: {fault}")
        else:
            count += 1
    return Handed(jobs=count, refused=tuple(refused))


def jobs_with_others(organisation: Organisation) -> int:
    """Own open jobs that somebody else drives."""
    jobs = Job.objects.filter(organisation=organisation, handed_to__isnull=False)
    return jobs.open().count()
