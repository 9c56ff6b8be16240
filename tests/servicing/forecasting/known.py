"""Systems with only what a test cares about, and published tables to check against."""

import csv
from datetime import date
from pathlib import Path

from servicing.forecasting.facts import Dip, Emptying, Spell, SystemFacts
from servicing.forecasting.forecast import forecast_system
from servicing.forecasting.geometry import rectangular
from servicing.forecasting.tanks import Compartment, Tank

PUBLISHED = Path(__file__).parent / "published"
EMPTIED = date(2020, 1, 1)
TODAY = date(2022, 6, 1)
BOX = Compartment(rectangular(2000, 1133.333, 1500), 1200)


def published(name):
    """Rows of a published table as dictionaries; each row names its source."""
    with (PUBLISHED / name).open(encoding="utf-8") as table:
        return list(csv.DictReader(table))


def system(*dips, persons=3.0, volume=2720.0, emptied=EMPTIED, **more):
    """A septic tank emptied at the start of 2020; dips as (date, litres)."""
    facts = {
        "emptyings": (Emptying(emptied),),
        "occupancy": (Spell(date(1990, 1, 1), persons),),
        "dips": tuple(Dip(day, litres=litres) for day, litres in dips),
    }
    return SystemFacts("S1", Tank(volume), **(facts | more))


def years_from(start, day):
    return (day - start).days / 365.25


def forecast(facts, **more):
    """The forecast of one system on 1 June 2022."""
    return forecast_system(facts, today=TODAY, **more)


def dated(facts):
    """Its likely dates and the due date."""
    found = forecast(facts, curve_points=0)
    return [found.removal_p10, found.removal_p50, found.removal_p90, found.due_on]
