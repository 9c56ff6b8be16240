"""A round as files.

Outside checks: RFC 7946 (GeoJSON), RFC 5545 read back by icalendar, and the element names and
namespace of GPX 1.1 (from memory of its schema).
"""

import json
from xml.etree import ElementTree as Xml

import pytest
from icalendar import Calendar

from scheduler.models import Round
from scheduler.round_papers import spot_of
from scheduler.round_sheets import rounds_with_stops, sheet_of
from tests.make import make_crew, make_organisation, make_tanker, make_user, make_works
from tests.scheduler.planning import accepted_day, job_at

pytestmark = pytest.mark.django_db
GPX = "{http://www.topografix.com/GPX/1/1}"
SECRET = "4711#"


@pytest.fixture
def planned(client):
    office = make_organisation()
    planner = make_user(office, "planner")
    make_works(office)
    tanker = make_tanker(office, name="Größe <9>", crew=make_crew(office))
    hidden = {"gate_code": SECRET, "gate_width_mm": 2700, "access_note": "Past the *barn* #let x"}
    jobs = [job_at(office, premises={"name": f"Farm & Sons {n}", **hidden}) for n in range(3)]
    [row] = accepted_day(office, planner, [tanker], jobs)
    client.force_login(planner)
    return rounds_with_stops(Round.objects.filter(pk=row.pk)).get()


def file_of(client, planned, kind):
    response = client.get(f"/rounds/{planned.public_id}/file/{kind}/")
    assert response.status_code == 200
    assert f".{kind}" in response["Content-Disposition"]
    return response.content


def test_the_run_sheet_is_a_tagged_pdf_and_the_same_twice(client, planned):
    """ISO 14289-1: a tagged file says so in its catalogue (/MarkInfo, /Marked true)."""
    pdf = file_of(client, planned, "pdf")
    assert pdf.startswith(b"%PDF-1.")
    assert b"/MarkInfo" in pdf
    assert pdf == file_of(client, planned, "pdf")


def test_geojson_has_longitude_first_and_a_point_for_each_stop(client, planned):
    """RFC 7946 §3.1.1: positions are longitude, then latitude."""
    found = json.loads(file_of(client, planned, "geojson"))
    sheet = sheet_of(planned)
    spots = [spot for line in sheet.lines if (spot := spot_of(sheet, line))]
    line, *points = found["features"]
    assert found["type"] == "FeatureCollection"
    assert line["geometry"]["type"] == "LineString"
    at = [point["geometry"]["coordinates"] for point in points]
    assert at == [[round(lon, 6), round(lat, 6)] for lat, lon in spots]
    assert line["geometry"]["coordinates"] == at


def test_gpx_is_a_route_in_driving_order(client, planned):
    root = Xml.fromstring(file_of(client, planned, "gpx"))  # noqa: S314 (our own file)
    points = root.findall(f"{GPX}rte/{GPX}rtept")
    names = [point.findtext(f"{GPX}name") for point in points]
    assert root.get("version") == "1.1"
    assert [name.split(".")[0] for name in names if "Farm & Sons" in name] == ["1", "2", "3"]
    assert float(points[0].get("lat")) == planned.tanker.base.latitude


def test_the_calendar_entry_spans_the_round(client, planned):
    calendar = Calendar.from_ical(file_of(client, planned, "ics"))
    [event] = calendar.walk("VEVENT")
    assert event.decoded("DTSTART") == planned.starts_at
    assert event.decoded("DTEND") == planned.ends_at
    assert "METHOD" not in calendar


@pytest.mark.parametrize("kind", ["ics", "gpx", "geojson"])
def test_no_file_holds_a_gate_code(client, planned, kind):
    assert SECRET.encode() not in file_of(client, planned, kind)


def test_a_kind_of_file_we_do_not_make_is_not_found(client, planned):
    assert client.get(f"/rounds/{planned.public_id}/file/exe/").status_code == 404


def test_a_stranger_gets_no_file(client, planned):
    client.force_login(make_user(make_organisation()))
    assert client.get(f"/rounds/{planned.public_id}/file/pdf/").status_code == 404
