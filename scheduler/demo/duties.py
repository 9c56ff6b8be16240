"""What the rules ask, in the valley: sales under way, look rounds noted, a tank to put right."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from django.utils import timezone

from customers import sales
from customers.local_days import local_today
from customers.models import OwnerLink, Party, User
from servicing.models import OperatorCheck, System

if TYPE_CHECKING:
    from customers.models import Organisation

# Which of the places in the order they were registered.
SOLD, TOLD, TO_THE_BROOK, UNDER_PERMIT = 20, 34, 41, 47
LOOKED_BEFORE_DAYS = (12, 43, 74)


def add_duties(installer: Organisation, *, owner: str) -> None:
    """Two sales, two systems looked at month by month, and two findings."""
    office = User.objects.get(email="ines@larkholt.example")
    today = local_today(installer)
    septic = System.objects.filter(organisation=installer, kind=System.Kind.SEPTIC_TANK)
    systems = list(septic.select_related("premises").order_by("pk"))
    add_sales(systems, office, today)
    theirs = systems[TO_THE_BROOK]
    theirs.discharge = System.Discharge.WATERCOURSE
    theirs.save(update_fields=["discharge"])
    permit = systems[UNDER_PERMIT]
    permit.under_permit, permit.registration = True, "EXAMPLE/PERMIT/1"
    permit.registration_valid_to = today + dt.timedelta(days=30)
    permit.save(update_fields=["under_permit", "registration", "registration_valid_to"])
    of_owner = System.objects.filter(premises__parties__person__name=owner).first()
    for system in filter(None, (of_owner, permit)):
        add_checks(system, today)


def add_sales(systems: list[System], office: User, today: dt.date) -> None:
    """One the office knows of, and one that a seller has told on the owner's page."""
    now = timezone.now()
    sales.note_sale(
        premises=systems[SOLD].premises,
        facts={
            "completes_on": today + dt.timedelta(days=20),
            "buyer_name": "Wilmot Hazelbeck",
            "buyer_email": "wilmot@home.example",
        },
        by=office,
        now=now,
    )
    place = systems[TOLD].premises
    party = Party.objects.filter(premises=place, role=Party.Role.OWNER).first()
    if party is not None:
        link, _ = OwnerLink.objects.get_or_create(
            organisation=place.organisation, premises=place, person=party.person, revoked_at=None
        )
        facts = {"completes_on": today + dt.timedelta(days=45), "buyer_name": "Isolde Marlbrook"}
        sales.ask_sale(link=link, facts=facts)


def add_checks(system: System, today: dt.date) -> None:
    """Looked at each month, and reminded of it."""
    System.objects.filter(pk=system.pk).update(check_reminders=True)
    party = Party.objects.filter(premises=system.premises, role=Party.Role.OWNER).first()
    for days in LOOKED_BEFORE_DAYS:
        OperatorCheck.objects.create(
            organisation=system.organisation,
            system=system,
            checked_on=today - dt.timedelta(days=days),
            person=party.person if party else None,
            words="Covers shut, no smell.",
        )
