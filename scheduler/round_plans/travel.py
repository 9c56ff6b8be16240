"""Driving times: pairs asked of a road server before, the server itself, or an estimate.

Without a server the straight line is all there is, corrected by the drives that crews recorded.
A server that fails or a pair it does not know falls back to that, and the plan says so.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils import timezone

from scheduler.models import Round, Stop, TravelPair
from scheduler.routing.errors import BadMatrix
from scheduler.routing.road_servers import Osrm, StoredPairs, Valhalla
from scheduler.routing.travel_times import (
    Place,
    StraightLine,
    TravelTable,
    TravelTimes,
    calibrate,
    great_circle_metres,
    road_seconds,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from customers.models import Organisation
    from scheduler.models import Tanker

    from .problem import Fleet

LEARNED_FROM = dt.timedelta(days=365)
# A drive shorter than a minute or longer than three hours is a button pressed late.
SHORTEST_DRIVE, LONGEST_DRIVE = 60, 3 * 3600
DECIMALS = 5  # of a degree: about a metre
Spot = tuple[float, float]
Pair = tuple[Spot, Spot]


def travel_for(organisation: Organisation, fleet: Fleet) -> TravelTimes:
    """Where a plan of this organisation takes its driving times from."""
    drives = list(recorded_drives(organisation, timezone.now()))
    legs = [(metres, float(road_seconds(metres))) for metres, _ in drives]  # type: ignore[arg-type]
    factors = calibrate(legs, [seconds for _, seconds in drives]) if drives else ()
    estimate = Estimate(StraightLine(calibration=factors), drives=len(drives))
    try:
        server, source = _server(fleet.tankers)
    except BadMatrix as fault:
        return Estimate(estimate.line, drives=len(drives), warning=f"{fault.message} {ESTIMATED}")
    return KnownRoads(server=server, source=source, estimate=estimate)


ESTIMATED = "Driving times are estimated."


@dataclass(frozen=True)
class Estimate:
    """The straight line, with what it was corrected by and why nothing better was at hand."""

    line: StraightLine
    drives: int = 0
    warning: str = ""

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        table = self.line.table(places)
        learned = f", corrected by {self.drives} recorded drives" if self.drives else ""
        warnings = (self.warning,) if self.warning else ()
        return replace(table, source=f"{table.source}{learned}", warnings=warnings)


def _server(tankers: Sequence[Tanker]) -> tuple[TravelTimes | None, str]:
    """The road server of the settings and the name its pairs are stored under."""
    kind, _, url = settings.ROAD_SERVER.partition("+")
    if not settings.ROAD_SERVER:
        return None, ""
    if kind == "osrm":
        return Osrm(url=url), "osrm"
    if kind == "valhalla":
        width = max((each.width_m for each in tankers), default=None)
        height = max((each.height_m for each in tankers), default=None)
        tonnes = max((each.gross_tonnes for each in tankers), default=None)
        server = Valhalla(url=url, width_m=width, height_m=height, gross_tonnes=tonnes)
        return server, f"valhalla {width:g} m {height:g} m {tonnes:g} t"
    message = "ROAD_SERVER must begin with osrm+http or valhalla+http."
    raise BadMatrix(message, field="ROAD_SERVER")


@dataclass(frozen=True, kw_only=True)
class KnownRoads:
    """Stored pairs first, then the server, whose answer is kept for the next plan."""

    server: TravelTimes | None
    source: str
    estimate: Estimate

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        if self.server is None:
            return self.estimate.table(places)
        stored = stored_pairs(places, self.source)
        if all((_spot(a), _spot(b)) in stored for a in places for b in places):
            return _with_pairs(places, stored, self.estimate, self.source)
        asked = self.server.table(places)
        if asked.source == "straight line":
            known = _with_pairs(places, stored, self.estimate, self.source)
            return replace(known, warnings=(*asked.warnings, *known.warnings))
        store_pairs(places, asked, self.source)
        return asked


def _with_pairs(
    places: Sequence[Place], stored: dict[Pair, tuple[int, int]], otherwise: Estimate, source: str
) -> TravelTable:
    pairs = {
        (a.id, b.id): stored[_spot(a), _spot(b)]
        for a in places
        for b in places
        if (_spot(a), _spot(b)) in stored
    }
    kept = {pair: (float(far), float(long)) for pair, (far, long) in pairs.items()}
    return StoredPairs(pairs=kept, otherwise=otherwise, source=f"{source}, stored").table(places)


def _spot(place: Place) -> Spot:
    return round(place.latitude, DECIMALS), round(place.longitude, DECIMALS)


def stored_pairs(places: Sequence[Place], source: str) -> dict[Pair, tuple[int, int]]:
    """Metres and seconds of the pairs between these places that were asked for before."""
    spots = {_spot(place) for place in places}
    rows = TravelPair.objects.filter(
        source=source, from_latitude__in={latitude for latitude, _ in spots}
    )
    found = {(spot, spot): (0, 0) for spot in spots}
    for row in rows.iterator(chunk_size=5000):
        start = (row.from_latitude, row.from_longitude)
        end = (row.to_latitude, row.to_longitude)
        if start in spots and end in spots:
            found[start, end] = (row.metres, row.seconds)
    return found


def store_pairs(places: Sequence[Place], table: TravelTable, source: str) -> None:
    """Keep what the server said; a pair known before takes the new answer."""
    now = timezone.now()
    rows = {
        (_spot(a), _spot(b)): TravelPair(
            from_latitude=_spot(a)[0],
            from_longitude=_spot(a)[1],
            to_latitude=_spot(b)[0],
            to_longitude=_spot(b)[1],
            metres=int(table.metres[i, j]),
            seconds=int(table.seconds[i, j]),
            source=source,
            found_at=now,
        )
        for i, a in enumerate(places)
        for j, b in enumerate(places)
        if _spot(a) != _spot(b)
    }
    unique = ["from_latitude", "from_longitude", "to_latitude", "to_longitude", "source"]
    TravelPair.objects.bulk_create(
        rows.values(),
        batch_size=1000,
        update_conflicts=True,
        unique_fields=unique,
        update_fields=["metres", "seconds", "found_at"],
    )


def recorded_drives(organisation: Organisation, now: dt.datetime) -> Iterator[tuple[float, float]]:
    """Straight metres and driven seconds between stops that a crew left and then reached."""
    stops = (
        Stop.objects.filter(
            round__in=Round.objects.filter(organisation=organisation, accepted_at__isnull=False),
            arrived_at__gte=now - LEARNED_FROM,
        )
        .select_related("job__system__premises", "works")
        .order_by("round", "position")
    )
    before: Stop | None = None
    for stop in stops:
        drive = _drive(before, stop)
        if drive is not None:
            yield drive
        before = stop


def _drive(before: Stop | None, stop: Stop) -> tuple[float, float] | None:
    """The leg between two neighbouring stops of one round, where both were recorded."""
    if before is None or before.round_id != stop.round_id or stop.position != before.position + 1:
        return None
    start, end = _where(before), _where(stop)
    if start is None or end is None or before.left_at is None or stop.arrived_at is None:
        return None
    seconds = (stop.arrived_at - before.left_at).total_seconds()
    if not SHORTEST_DRIVE <= seconds <= LONGEST_DRIVE:
        return None
    return float(great_circle_metres(*start, *end)), seconds


def _where(stop: Stop) -> Spot | None:
    place = stop.works if stop.works is not None else stop.job.system if stop.job else None
    if place is None or place.latitude is None or place.longitude is None:
        return None
    return place.latitude, place.longitude
