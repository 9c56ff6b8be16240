"""Travel times from a road server over HTTP: the OSRM table and the Valhalla matrix services.

Sources: OSRM HTTP API v1, table service (distance and duration annotations, coordinates as
longitude,latitude, null for an unreachable pair); Valhalla time-distance matrix service
(`sources_to_targets`, truck costing with width and height in metres, weight in tonnes,
distances in kilometres). A server that does not answer, or answers nonsense, is replaced by
the embedded estimate with a warning: a plan is made all the same.
"""

import http.client
import json
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlsplit

import numpy as np
from numpy.typing import NDArray

from scheduler.routing.errors import BadMatrix
from scheduler.routing.travel_times import (
    Place,
    StraightLine,
    TravelTable,
    TravelTimes,
    guarded_table,
)

LARGEST_ANSWER_BYTES = 64_000_000
Floats = NDArray[np.float64]
Block = tuple[range, range]
# What a server that is down, slow, or not the one expected can throw at us.
NoAnswer = (
    urllib.error.URLError,
    OSError,
    http.client.HTTPException,
    ValueError,
    KeyError,
    TypeError,
)


@dataclass(frozen=True, kw_only=True)
class Osrm:
    """An OSRM server; `places_at_once` must not pass its --max-table-size."""

    url: str
    profile: str = "driving"
    places_at_once: int = 50
    timeout_seconds: float = 10.0

    def __post_init__(self) -> None:
        """Only web addresses are asked."""
        _require_web_address(self.url)

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        return _asked(self._block, places, self.places_at_once, f"OSRM ({self.profile})")

    def _block(self, sources: Sequence[Place], targets: Sequence[Place]) -> tuple[Floats, Floats]:
        where = ";".join(f"{p.longitude:.6f},{p.latitude:.6f}" for p in (*sources, *targets))
        first = ";".join(str(number) for number in range(len(sources)))
        last = ";".join(str(len(sources) + number) for number in range(len(targets)))
        query = f"annotations=distance,duration&sources={first}&destinations={last}"
        address = f"{self.url.rstrip('/')}/table/v1/{self.profile}/{where}?{query}"
        answer = _fetched(address, self.timeout_seconds)
        shape = (len(sources), len(targets))
        return _numbers(answer["distances"], shape), _numbers(answer["durations"], shape)


@dataclass(frozen=True, kw_only=True)
class Valhalla:
    """A Valhalla server asked for a truck of given size; None leaves its own default."""

    url: str
    costing: str = "truck"
    width_m: float | None = None
    height_m: float | None = None
    gross_tonnes: float | None = None
    places_at_once: int = 50
    timeout_seconds: float = 20.0

    def __post_init__(self) -> None:
        """Only web addresses are asked."""
        _require_web_address(self.url)

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        return _asked(self._block, places, self.places_at_once, f"Valhalla ({self.costing})")

    def _block(self, sources: Sequence[Place], targets: Sequence[Place]) -> tuple[Floats, Floats]:
        limits = {"width": self.width_m, "height": self.height_m, "weight": self.gross_tonnes}
        known = {name: value for name, value in limits.items() if value is not None}
        question: dict[str, Any] = {
            "sources": [{"lat": each.latitude, "lon": each.longitude} for each in sources],
            "targets": [{"lat": each.latitude, "lon": each.longitude} for each in targets],
            "costing": self.costing,
            "units": "kilometers",
            "verbose": True,
        }
        if known:
            question["costing_options"] = {self.costing: known}
        address = f"{self.url.rstrip('/')}/sources_to_targets"
        rows = _fetched(address, self.timeout_seconds, question)["sources_to_targets"]
        shape = (len(sources), len(targets))
        kilometres = _numbers([[cell["distance"] for cell in row] for row in rows], shape)
        return kilometres * 1000, _numbers([[cell["time"] for cell in row] for row in rows], shape)


@dataclass(frozen=True, kw_only=True)
class StoredPairs:
    """Pairs remembered from before, by place id; what is not known comes from `otherwise`."""

    pairs: Mapping[tuple[str, str], tuple[float, float]]
    otherwise: TravelTimes
    source: str = "stored pairs"

    def table(self, places: Sequence[Place]) -> TravelTable:
        """Distances and times between all the places, in their order."""
        known = {
            (row, column): self.pairs[start.id, end.id]
            for row, start in enumerate(places)
            for column, end in enumerate(places)
            if (start.id, end.id) in self.pairs
        }
        size = len(places)
        if len(known.keys() | {(row, row) for row in range(size)}) == size * size:
            metres, seconds = np.zeros((size, size)), np.zeros((size, size))
            warnings: tuple[str, ...] = ()
            source = self.source
        else:
            rest = self.otherwise.table(places)
            metres, seconds = rest.metres.astype(float), rest.seconds.astype(float)
            warnings, source = rest.warnings, f"{self.source}, else {rest.source}"
        for pair, (far, long) in known.items():
            metres[pair], seconds[pair] = far, long
        table = guarded_table(places, metres, seconds, source)
        return replace(table, warnings=(*warnings, *table.warnings))


def _require_web_address(url: str) -> None:
    parts = urlsplit(url)
    if parts.scheme not in {"http", "https"} or not parts.hostname:
        message = f"“{url}” is not the web address of a road server."
        raise BadMatrix(message, field="url")


def _asked(block: Any, places: Sequence[Place], at_once: int, source: str) -> TravelTable:
    """The whole table, asked for in blocks; the estimate when the server fails."""
    size = len(places)
    metres, seconds = np.zeros((size, size)), np.zeros((size, size))
    try:
        for rows, columns in _blocks(size, at_once):
            far, long = block([places[row] for row in rows], [places[each] for each in columns])
            area = np.ix_(list(rows), list(columns))
            metres[area], seconds[area] = far, long
    except NoAnswer as error:
        table = StraightLine().table(places)
        warning = f"{source} gave no usable answer ({type(error).__name__}): times are estimated."
        return replace(table, warnings=(warning,))
    return guarded_table(places, metres, seconds, source)


def _blocks(size: int, at_once: int) -> Iterator[Block]:
    steps = [range(first, min(first + at_once, size)) for first in range(0, size, at_once)]
    return ((rows, columns) for rows in steps for columns in steps)


def _fetched(address: str, timeout: float, question: Any = None) -> Any:
    """What the server answers; its address was found to be http or https when it was named."""
    body = None if question is None else json.dumps(question).encode()
    headers = {"Content-Type": "application/json"} if body else {}
    request = urllib.request.Request(address, data=body, headers=headers)  # noqa: S310 - see above
    with urllib.request.urlopen(request, timeout=timeout) as answer:  # noqa: S310 - see above
        return json.loads(answer.read(LARGEST_ANSWER_BYTES))


def _numbers(rows: Any, shape: tuple[int, int]) -> Floats:
    """A matrix of numbers, NaN where the server says null."""
    matrix = np.array(
        [[float("nan") if value is None else float(value) for value in row] for row in rows]
    )
    if matrix.shape != shape:
        message = f"{matrix.shape} values came back, not {shape}."
        raise ValueError(message)
    return matrix
