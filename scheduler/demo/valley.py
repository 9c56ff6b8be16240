"""Load the invented valley once: two installers, a tanker operator, their systems and visits."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from customers.local_days import local_today
from customers.models import CountryProfile, Membership, Organisation, User
from scheduler import due_work
from scheduler.demo.aftercare import add_aftercare, add_charges
from scheduler.demo.duties import add_duties
from scheduler.demo.fleet import add_fleet
from scheduler.demo.sheet import write_sheet
from scheduler.demo.systems import add_systems
from scheduler.demo.today import OMAR, add_today
from scheduler.demo.visits import MONTHS_OF_VISITS_DAYS, Happening, visits_until
from servicing.forecasts import check_forecasts, learn_fleet_of, refresh_forecasts, value_dips
from servicing.models import System

PASSWORD = "aftercare-demo"  # noqa: S105  (printed for everybody who tries the demo)
LARKHOLT_SYSTEMS = 240
OTTERBANK_SYSTEMS = 24
# Days before today on which everything was forecast from what was known by then.
FORECAST_DAYS_AGO = (330, 100)
WHY_BY_LEVEL = "Every tank is dipped at least every second year and emptied by its level."


@dataclass(frozen=True, slots=True)
class Login:
    """Somebody to sign in as."""

    name: str
    email: str
    role: str
    organisation: str


LOGINS = (
    Login("Ines Fallowgate", "ines@larkholt.example", Membership.Role.OFFICE, "larkholt"),
    Login("Hollis Greymarl", "hollis@larkholt.example", Membership.Role.READER, "larkholt"),
    Login("Merryn Oxenway", "merryn@brindle.example", Membership.Role.PLANNER, "brindle-vale"),
    Login("Tess Underhay", "tess@brindle.example", Membership.Role.CREW, "brindle-vale"),
    Login("Sid Coldfold", "sid@otterbank.example", Membership.Role.OFFICE, "otterbank"),
)


def logins() -> list[tuple[str, str, str]]:
    """E-mail, password and role of everybody who can sign in to the demo."""
    names = dict(Organisation.objects.values_list("slug", "name"))
    return [
        (one.email, PASSWORD, f"{one.name}, {one.role}, {names.get(one.organisation, '')}")
        for one in LOGINS
    ]


@transaction.atomic
def load_demo() -> None:
    """Load the valley; what is there already stays as it is. Dates move with today."""
    if Organisation.objects.filter(slug="larkholt").exists():
        return
    write_sheet(timezone.localdate())
    brindle = add_organisation("brindle-vale", "Brindle Vale Tankers")
    larkholt = add_organisation(
        "larkholt",
        "Larkholt Drainage Aftercare",
        tanker_operator=brindle,
        interval_override_months=60,
        interval_override_reason=WHY_BY_LEVEL,
        emptying_cost_pence=240_00,
        trouble_cost_pence=900_00,
        dip_cost_pence=12_00,
    )
    otterbank = add_organisation("otterbank", "Otterbank Septic Services")
    for login in LOGINS:
        add_user(login)
    add_fleet(brindle, driver=User.objects.get(email="tess@brindle.example"))
    add_fleet(otterbank, driver=None, small=True)
    for organisation, count, seed in (
        (larkholt, LARKHOLT_SYSTEMS, 2027),
        (otterbank, OTTERBANK_SYSTEMS, 2028),
    ):
        dice = random.Random(seed)
        today = local_today(organisation)
        systems = add_systems(organisation, count, dice=dice, today=today)
        # The firm has looked after them for as long as its record of visits goes back.
        taken_on = timezone.now() - dt.timedelta(days=MONTHS_OF_VISITS_DAYS)
        System.objects.filter(organisation=organisation).update(created_at=taken_on)
        live_through(
            organisation,
            visits_until(organisation, systems, dice=dice, today=today),
            today=today,
        )
        add_aftercare(organisation, systems, today=today)
        bring_up_to_date(organisation, today=today)
        add_charges(organisation, today=today)
    add_today(larkholt, brindle)
    add_duties(larkholt, owner=OMAR)


def add_organisation(slug: str, name: str, **fields: object) -> Organisation:
    """An organisation under English rules."""
    return Organisation.objects.create(
        slug=slug,
        name=name,
        profile=CountryProfile.objects.get(code="england"),
        phone="01632 960 000",  # Ofcom keeps 01632 960000-960999 for fiction
        address=f"The Yard\n{slug.title()}\nZZ1 9YD",
        sender_name=name,
        sender_email=f"bookings@{slug}.example",
        carrier_registration="CBDU000000",
        carrier_valid_from=dt.date(2025, 1, 1),
        carrier_valid_to=dt.date(2028, 1, 1),
        **fields,
    )


def add_user(login: Login) -> User:
    """Somebody who can sign in."""
    user = User.objects.create_user(login.email, PASSWORD, name=login.name)
    Membership.objects.create(
        user=user, organisation=Organisation.objects.get(slug=login.organisation), role=login.role
    )
    return user


def live_through(
    organisation: Organisation, happenings: list[Happening], *, today: dt.date
) -> None:
    """Write what happened day by day; now and then learn and forecast from what is known by then.

    So the past forecasts that crews' findings are held against knew nothing of those findings.
    """
    systems = System.objects.filter(organisation=organisation)
    waiting = iter(happenings)
    upcoming = next(waiting, None)
    for ago in (*FORECAST_DAYS_AGO, 0):
        day = today - dt.timedelta(days=ago)
        while upcoming is not None and (upcoming.on < day or not ago):
            upcoming.write()
            upcoming = next(waiting, None)
        if ago:
            learn_fleet_of(organisation, today=day)
            refresh_forecasts(systems, today=day)


def bring_up_to_date(organisation: Organisation, *, today: dt.date) -> None:
    """Learn, forecast everything, make jobs of what is due, find the tanks worth measuring."""
    learn_fleet_of(organisation, today=today)
    check_forecasts(organisation, today=today)
    refresh_forecasts(systems=System.objects.filter(organisation=organisation), today=today)
    due_work.make_due_jobs(organisation=organisation, today=today)
    value_dips(organisation, today=today)
