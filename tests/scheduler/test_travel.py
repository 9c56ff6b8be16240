"""Where driving times come from, and what happens when nobody answers. Rules, no source."""

import datetime as dt
import json
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from django.utils import timezone

from scheduler.models import Stop, TravelPair
from scheduler.round_plans.problem import fleet_of
from scheduler.round_plans.travel import recorded_drives, stored_pairs, travel_for
from scheduler.routing.travel_times import Place, StraightLine
from tests.make import make_crew, make_organisation, make_round, make_tanker, make_user, make_works
from tests.scheduler.planning import DAY, job_at, planned

pytestmark = pytest.mark.django_db
PLACES = [Place("a", 52.5, -2.9), Place("b", 52.55, -2.85), Place("c", 52.6, -2.8)]


@pytest.fixture
def office():
    return make_organisation()


class Roads(BaseHTTPRequestHandler):
    """A road server that drives every leg at one speed, and counts what it is asked."""

    asked = 0

    def do_GET(self):
        type(self).asked += 1
        spots = self.path.split("/driving/")[1].split("?")[0].split(";")
        half = len(spots) // 2
        table = [[0 if row == column else 9000 for column in range(half)] for row in range(half)]
        body = json.dumps({"distances": table, "durations": [[n / 10 for n in r] for r in table]})
        self.send_response(200)
        self.end_headers()
        self.wfile.write(body.encode())

    def log_message(self, *_args):
        pass


@pytest.fixture
def server(settings):
    Roads.asked = 0
    with HTTPServer(("127.0.0.1", 0), Roads) as running:
        threading.Thread(target=running.serve_forever, daemon=True).start()
        settings.ROAD_SERVER = f"osrm+http://127.0.0.1:{running.server_port}"
        yield running
        running.shutdown()


def table(office):
    return travel_for(office, fleet_of(office)).table(PLACES)


def test_without_a_server_the_straight_line_is_used(office):
    assert (table(office).seconds == StraightLine().table(PLACES).seconds).all()


def test_what_a_server_said_is_kept_and_not_asked_again(office, server):
    first, again = table(office), table(office)
    assert Roads.asked == 1
    assert TravelPair.objects.count() == 6
    assert (first.seconds == again.seconds).all()
    assert int(first.seconds[0, 1]) == 900
    assert "stored" in again.source


def test_a_server_that_fails_leaves_what_is_stored_and_says_so(office, server, settings):
    table(office)
    TravelPair.objects.filter(from_latitude=52.6).delete()
    settings.ROAD_SERVER = "osrm+http://127.0.0.1:9"
    found = table(office)
    assert "no usable answer" in found.warnings[0]
    assert int(found.seconds[0, 1]) == 900
    assert found.seconds[2, 0] == StraightLine().table(PLACES).seconds[2, 0]


def test_the_warning_stands_on_the_plan(office, settings):
    settings.ROAD_SERVER = "osrm+http://127.0.0.1:9"
    make_works(office)
    tanker = make_tanker(office, crew=make_crew(office))
    run = planned(office, make_user(office, "planner"), [tanker], [job_at(office)])
    assert run.state == "ready"
    assert any("estimated" in warning for warning in run.warnings)


@pytest.mark.parametrize("address", ["http://roads", "osrm+ftp://roads", "other+http://roads"])
def test_an_address_that_is_none_is_said_and_the_plan_is_made(office, settings, address):
    settings.ROAD_SERVER = address
    found = table(office)
    assert found.warnings[0].endswith("Driving times are estimated.")


def test_pairs_are_found_by_where_they_are(office):
    now = timezone.now()
    TravelPair.objects.create(
        from_latitude=52.5,
        from_longitude=-2.9,
        to_latitude=52.55,
        to_longitude=-2.85,
        metres=7000,
        seconds=600,
        source="osrm",
        found_at=now,
    )
    found = stored_pairs(PLACES, "osrm")
    assert found[(52.5, -2.9), (52.55, -2.85)] == (7000, 600)
    assert stored_pairs(PLACES, "valhalla").keys() == {((p[1], p[2]),) * 2 for p in PLACES}


def drive(office, *, slower=1.0, gap=1):
    """A recorded leg between two jobs of a round, as long as estimated times `slower`."""
    row = make_round(office, day=DAY, tanker=make_tanker(office))
    jobs = [
        job_at(office, premises={"latitude": 52.4 + n * 0.2, "longitude": -2.9}) for n in (0, 1)
    ]
    places = [
        Place(str(n), job.system.latitude, job.system.longitude) for n, job in enumerate(jobs)
    ]
    seconds = float(StraightLine().table(places).seconds[0, 1]) * slower
    left = timezone.now() - dt.timedelta(days=2)
    times = {"arrive_at": left, "start_at": left, "depart_at": left}
    Stop.objects.create(
        round=row, position=0, kind="job", job=jobs[0], arrived_at=left, left_at=left, **times
    )
    came = left + dt.timedelta(seconds=seconds)
    Stop.objects.create(round=row, position=gap, kind="job", job=jobs[1], arrived_at=came, **times)


def test_recorded_drives_correct_the_estimate(office):
    """Twenty drives at half the speed: the factor is drawn from 1 towards 2, 20 of 28 parts."""
    for _ in range(20):
        drive(office, slower=2.0)
    far = [Place("a", 52.4, -2.9), Place("b", 52.6, -2.9)]
    found = travel_for(office, fleet_of(office)).table(far)
    plain = StraightLine().table(far)
    assert found.seconds[0, 1] / plain.seconds[0, 1] == pytest.approx(1 + 20 / 28, rel=0.12)
    assert "20 recorded drives" in found.source


def test_legs_with_something_between_or_of_others_teach_nothing(office):
    drive(office, gap=2)
    drive(make_organisation())
    drive(office, slower=30)
    assert list(recorded_drives(office, timezone.now())) == []
