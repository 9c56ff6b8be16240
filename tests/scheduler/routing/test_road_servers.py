"""Road servers: the formats they publish, their failures, and two real ones against each other."""

from __future__ import annotations

import json
import os
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest

from scheduler.routing.errors import BadMatrix
from scheduler.routing.road_servers import Osrm, StoredPairs, Valhalla
from scheduler.routing.travel_times import Place, StraightLine

PLACES = [Place("yard", 52.0, -3.0), Place("farm", 52.1, -3.1), Place("mill", 51.9, -2.8)]
METRES = [[0, 14_000, 22_000], [14_100, 0, 30_000], [22_000, 30_100, 0]]
SECONDS = [[0, 900, 1400], [950, 0, 2000], [1400, 2050, 0]]


class Tables(ThreadingHTTPServer):
    """A server with the times it tells, the questions it heard, and what it says when broken."""

    seconds: list[list[int | None]]
    questions: list[dict[str, object]]
    broken: bytes = b""

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_port}"


class RoadServer(BaseHTTPRequestHandler):
    """Answers as the two services document it, from the tables above."""

    server: Tables

    def log_message(self, *_args):
        """Say nothing."""

    def do_GET(self):
        parts = urlsplit(self.path)
        query = {name: values[0] for name, values in parse_qs(parts.query).items()}
        given = [each.split(",") for each in parts.path.rsplit("/", 1)[1].split(";")]
        asked = [(float(latitude), float(longitude)) for longitude, latitude in given]
        pick = [
            [asked[int(n)] for n in query[name].split(";")] for name in ("sources", "destinations")
        ]
        rows, columns = ([number_of(*where) for where in side] for side in pick)
        self.answer(
            {
                "code": "Ok",
                "distances": [[METRES[a][b] for b in columns] for a in rows],
                "durations": [[self.server.seconds[a][b] for b in columns] for a in rows],
            }
        )

    def do_POST(self):
        question = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.server.questions.append(question)
        rows, columns = (
            [number_of(each["lat"], each["lon"]) for each in question[side]]
            for side in ("sources", "targets")
        )
        self.answer(
            {
                "sources_to_targets": [
                    [
                        {"distance": METRES[a][b] / 1000, "time": self.server.seconds[a][b]}
                        for b in columns
                    ]
                    for a in rows
                ]
            }
        )

    def answer(self, body):
        text = json.dumps(body).encode() if not self.server.broken else self.server.broken
        self.send_response(200 if text else 500)
        self.end_headers()
        self.wfile.write(text)


def number_of(latitude, longitude):
    return next(
        n for n, p in enumerate(PLACES)
        if abs(p.latitude - latitude) < 1e-5 and abs(p.longitude - longitude) < 1e-5
    )  # fmt: skip


@pytest.fixture
def road_server():
    server = Tables(("127.0.0.1", 0), RoadServer)
    server.seconds, server.questions = [list(row) for row in SECONDS], []
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


@pytest.mark.parametrize("at_once", [50, 2, 1])
@pytest.mark.parametrize("kind", [Osrm, Valhalla])
def test_a_table_is_put_together_from_blocks_in_the_order_of_the_places(road_server, kind, at_once):
    table = kind(url=road_server.url, places_at_once=at_once).table(PLACES)
    assert table.metres.tolist() == METRES
    assert table.seconds.tolist() == SECONDS
    assert table.warnings == ()


def test_valhalla_is_told_the_size_of_the_truck(road_server):
    Valhalla(url=road_server.url, width_m=2.5, gross_tonnes=18.0).table(PLACES)
    options = road_server.questions[0]["costing_options"]
    assert options == {"truck": {"width": 2.5, "weight": 18.0}}


@pytest.mark.parametrize("kind", [Osrm, Valhalla])
def test_an_unreachable_pair_is_estimated_with_a_warning(road_server, kind):
    road_server.seconds[0][1] = None
    table = kind(url=road_server.url).table(PLACES)
    assert table.seconds[0, 1] == StraightLine().table(PLACES).seconds[0, 1]
    assert "1 of 6" in table.warnings[0]


@pytest.mark.parametrize("kind", [Osrm, Valhalla])
@pytest.mark.parametrize("broken", [b"not json", b"{}", b"[]", b'{"code":"NoTable"}'])
def test_a_server_that_talks_nonsense_is_replaced_by_the_estimate(road_server, kind, broken):
    road_server.broken = broken
    table = kind(url=road_server.url).table(PLACES)
    assert table.seconds.tolist() == StraightLine().table(PLACES).seconds.tolist()
    assert "no usable answer" in table.warnings[0]


@pytest.mark.parametrize("kind", [Osrm, Valhalla])
def test_a_server_that_is_down_is_replaced_by_the_estimate(kind):
    table = kind(url="http://127.0.0.1:9", timeout_seconds=2).table(PLACES)
    assert "no usable answer" in table.warnings[0]


def test_answers_of_another_size_are_not_used(road_server, monkeypatch):
    monkeypatch.setattr("tests.scheduler.routing.test_road_servers.METRES", [[0]])
    road_server.broken = json.dumps({"distances": [[0]], "durations": [[0]]}).encode()
    assert "no usable answer" in Osrm(url=road_server.url).table(PLACES).warnings[0]


@pytest.mark.parametrize("url", ["file:///etc/passwd", "ftp://there/", "there", ""])
@pytest.mark.parametrize("kind", [Osrm, Valhalla])
def test_only_web_addresses_are_asked(kind, url):
    with pytest.raises(BadMatrix):
        kind(url=url)


def test_stored_pairs_come_before_the_estimate():
    pairs = {("yard", "farm"): (15_000.0, 1111.0)}
    table = StoredPairs(pairs=pairs, otherwise=StraightLine()).table(PLACES)
    assert table.seconds[0, 1] == 1111
    assert table.seconds[1, 0] == StraightLine().table(PLACES).seconds[1, 0]
    assert table.source == "stored pairs, else straight line"


def test_a_server_is_not_asked_when_every_pair_is_stored():
    pairs = {
        (a.id, b.id): (float(METRES[i][j]), float(SECONDS[i][j]))
        for i, a in enumerate(PLACES) for j, b in enumerate(PLACES) if i != j
    }  # fmt: skip
    down = Osrm(url="http://127.0.0.1:9")
    table = StoredPairs(pairs=pairs, otherwise=down).table(PLACES)
    assert (table.seconds.tolist(), table.warnings) == (SECONDS, ())


def test_two_real_servers_agree_on_the_same_streets():
    """OSRM and Valhalla on one extract (central Helsinki, OpenStreetMap contributors, ODbL).

    Three pairs of four must agree within 10 % in length and the middle pair within 25 % in time:
    they choose one-way streets and speeds differently, so single short trips may differ more.
    """
    addresses = [os.environ.get(f"EBBMARK_{name}_URL") for name in ("OSRM", "VALHALLA")]
    if not all(addresses):
        pytest.skip("Set EBBMARK_OSRM_URL and EBBMARK_VALHALLA_URL to servers of one extract.")
    chance = np.random.default_rng(1)
    where = chance.uniform((60.159, 24.923), (60.173, 24.949), (50, 2))
    places = [Place(f"p{n}", float(lat), float(lon)) for n, (lat, lon) in enumerate(where)]
    far, long = Osrm(url=addresses[0])._block(places, places)
    far2, long2 = Valhalla(url=addresses[1], costing="auto")._block(places, places)
    both = np.isfinite(far) & np.isfinite(far2) & (far > 300)
    assert both.sum() > 500
    assert np.mean(np.abs(far2[both] / far[both] - 1) < 0.10) > 0.75
    assert 0.75 < np.median(long2[both] / long[both]) < 1.25
