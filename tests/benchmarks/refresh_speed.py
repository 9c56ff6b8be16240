"""How long the nightly refresh takes: ``python -m tests.benchmarks.refresh_speed``.

Makes a database of its own beside the one of DATABASE_URL (PostgreSQL; SQLite only with one
worker), fills it with invented systems of two dips each, and measures: the first night, when
nothing is worked out yet; an ordinary night, a day later, when one system in fifty has a new
visit; a night a week later, when every level has aged; and a night on which the fleet's lesson
changed every forecast. ``--workers 2`` shares the shards between two processes, as two Celery
workers would.
"""

from __future__ import annotations

import argparse
import datetime as dt
import multiprocessing
import os
import random
import resource
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from servicing.models import System, Tank

TODAY = dt.date(2027, 1, 4)
SHARD = 5000
ROWS = 5000


def main() -> None:
    """Make, measure, print a table, and take the database down again."""
    asked = _asked()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django  # noqa: PLC0415  (settings come from the arguments)

    django.setup()
    from django.db import connection  # noqa: PLC0415

    name = connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        _fill(asked.systems)
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("ANALYZE")
        say(f"{connection.vendor}, {asked.systems} systems, {asked.workers} worker(s)")
        say("| night | seconds | seconds of our processors | rows written |")
        say("|---|---|---|---|")
        for night, day, before in _nights():
            before()
            began, busy = time.perf_counter(), _busy()
            written = _refresh_all(day, asked.workers)
            took, busy = time.perf_counter() - began, _busy() - busy
            say(f"| {night} | {took:.1f} | {busy:.1f} | {written} |")
        peak = max(
            resource.getrusage(who).ru_maxrss
            for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        say(f"most memory of one process: {peak / 1024:.0f} MB")
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


def say(line: str) -> None:
    """Print at once: the run is long."""
    print(line, flush=True)  # noqa: T201 (a command's output)


def _busy() -> float:
    """Processor seconds of this process and of the workers that have ended."""
    whose = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    used = [resource.getrusage(who) for who in whose]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Measure the nightly refresh.")
    parser.add_argument("--systems", type=int, default=100_000)
    parser.add_argument("--workers", type=int, default=2)
    return parser.parse_args()


def _nights() -> list[tuple[str, dt.date, Callable[[], None]]]:
    def day(later: int) -> dt.date:
        return TODAY + dt.timedelta(days=later)

    return [
        ("the first: everything anew", day(0), lambda: None),
        ("the same again: nothing to do", day(0), lambda: None),
        ("the next: one in fifty visited", day(1), lambda: _visit_some(day(1))),
        ("a week on: every level has aged", day(8), lambda: None),
        ("a new lesson: everything anew", day(9), lambda: _teach(day(9))),
    ]


def _fill(count: int) -> None:
    """Systems in one organisation: emptied on a day, two dips since, two to five people."""
    from customers.models import CountryProfile, Organisation, Premises  # noqa: PLC0415
    from servicing.models import Occupancy, System, Tank  # noqa: PLC0415

    dice = random.Random(81_100)
    owner = Organisation.objects.create(
        name="Benchmark",
        slug="benchmark",
        profile=CountryProfile.objects.get(code="england"),
        interval_override_months=120,
        interval_override_reason="Measured by benchmark.",
    )
    for first in range(0, count, ROWS):
        numbers = range(first, min(first + ROWS, count))
        places = Premises.objects.bulk_create(
            [Premises(organisation=owner, name=f"House {n}") for n in numbers]
        )
        systems = System.objects.bulk_create(
            System(
                organisation=owner,
                premises=place,
                reference=f"B-{n:06d}",
                kind=System.Kind.SEPTIC_TANK,
                last_emptied_on=TODAY - dt.timedelta(days=dice.randint(800, 1600)),
            )
            for n, place in zip(numbers, places, strict=True)
        )
        tanks = Tank.objects.bulk_create(
            Tank(system=one, working_volume_litres=dice.choice((2800, 3800, 4600)))
            for one in systems
        )
        Occupancy.objects.bulk_create(
            Occupancy(system=one, persons=dice.randint(2, 5)) for one in systems
        )
        for days in (250, 600):
            _dip_all(systems, tanks, days, dice)


def _dip_all(systems: list[System], tanks: list[Tank], days: int, dice: random.Random) -> None:
    """One dip in each tank, about so many days after it was emptied."""
    from servicing.models import Dip, Visit  # noqa: PLC0415

    visits = Visit.objects.bulk_create(
        Visit(
            organisation=one.organisation,
            system=one,
            visited_on=one.last_emptied_on + dt.timedelta(days=days + dice.randint(0, 90)),
            lid_back_on=True,
        )
        for one in systems
        if one.last_emptied_on
    )
    Dip.objects.bulk_create(
        Dip(visit=visit, tank=tank, litres=days * dice.uniform(0.3, 1.1))
        for visit, tank in zip(visits, tanks, strict=True)
    )


def _visit_some(day: dt.date) -> None:
    from servicing.models import Dip, System, Tank, Visit  # noqa: PLC0415

    chosen = list(Tank.objects.order_by("system_id").values_list("pk", "system_id"))[::50]
    owner = System.objects.values_list("organisation_id", flat=True)[0]
    visits = Visit.objects.bulk_create([
        Visit(organisation_id=owner, system_id=system, visited_on=day, lid_back_on=True)
        for _, system in chosen
    ])  # fmt: skip
    Dip.objects.bulk_create(
        [Dip(visit=visit, tank_id=tank, litres=500)
         for visit, (tank, _) in zip(visits, chosen, strict=True)]
    )  # fmt: skip


def _teach(day: dt.date) -> None:
    from customers.models import Organisation  # noqa: PLC0415
    from servicing.forecasts.learning import learn_fleet_of  # noqa: PLC0415

    began = time.perf_counter()
    learn_fleet_of(Organisation.objects.get(), today=day)
    say(f"(the lesson itself took {time.perf_counter() - began:.1f} s)")


def _refresh_all(day: dt.date, workers: int) -> int:
    """Every shard once, shared between processes; gives the number of rows written."""
    from django.db import connections  # noqa: PLC0415

    from servicing.models import System  # noqa: PLC0415

    ids = list(System.objects.order_by("pk").values_list("pk", flat=True))
    shards = [(day, ids[at], ids[min(at + SHARD, len(ids)) - 1])
              for at in range(0, len(ids), SHARD)]  # fmt: skip
    if workers == 1:
        return sum(_refresh_shard(shard) for shard in shards)
    connections.close_all()
    with multiprocessing.get_context("fork").Pool(workers) as pool:
        written = sum(pool.imap_unordered(_refresh_shard, shards))
        pool.close()
        pool.join()  # ended workers alone are counted as busy
    return written


def _refresh_shard(shard: tuple[dt.date, int, int]) -> int:
    from servicing.forecasts import refresh_forecasts  # noqa: PLC0415
    from servicing.models import System  # noqa: PLC0415

    day, first, last = shard
    return refresh_forecasts(System.objects.filter(pk__range=(first, last)), today=day)


if __name__ == "__main__":
    main()
