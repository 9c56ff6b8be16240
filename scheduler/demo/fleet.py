"""Tankers, bases, works and crews of the invented valley."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from scheduler.models import Base, Crew, Tanker, Works

if TYPE_CHECKING:
    from customers.models import Organisation, User

# Open farmland; no address stands here.
VALLEY = (52.405, -3.035)


def add_fleet(organisation: Organisation, *, driver: User | None, small: bool = False) -> None:
    """Two tankers and two works for the operator, one of each for a small firm."""
    latitude, longitude = VALLEY
    base = Base.objects.create(
        organisation=organisation, name="Brindle yard", latitude=latitude, longitude=longitude
    )
    Works.objects.create(
        organisation=organisation,
        name="Nether Marl works",
        latitude=latitude + 0.07,
        longitude=longitude + 0.05,
        opens=dt.time(7, 0),
        closes=dt.time(17, 0),
        tipping_minutes=20,
        charge_pence_per_visit=1500,
        charge_pence_per_m3=944,
    )
    crew = Crew.objects.create(
        organisation=organisation,
        name=driver.name if driver else "Jory Ravenlea",
        email=driver.email if driver else "jory@otterbank.example",
        user=driver,
    )
    Tanker.objects.create(
        organisation=organisation,
        name="Nine",
        vehicle_registration="ZZ26 NIN",
        base=base,
        crew=crew,
        capacity_litres=9000,
        width_m=2.4,
        gross_tonnes=18,
        hose_m=40,
    )
    if small:
        return
    Works.objects.create(
        organisation=organisation,
        name="Quillmoor works",
        latitude=latitude - 0.09,
        longitude=longitude - 0.08,
        opens=dt.time(8, 0),
        closes=dt.time(15, 30),
        tipping_minutes=30,
        charge_pence_per_m3=889,
    )
    second = Crew.objects.create(
        organisation=organisation, name="Nye Lowfurrow", email="nye@brindle.example"
    )
    Tanker.objects.create(
        organisation=organisation,
        name="Fourteen",
        vehicle_registration="ZZ26 FOR",
        base=base,
        crew=second,
        capacity_litres=14000,
        width_m=2.55,
        gross_tonnes=26,
        hose_m=60,
        pence_per_km=105,
        fixed_pence_per_day=11000,
    )
