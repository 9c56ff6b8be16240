"""Timelines and week charts: pure pictures, checked as XML. Common practice, no source."""

from xml.etree import ElementTree as ET

from scheduler.charts import Mark, WeekLoad, clock, timeline, weeks

HOUR = 3600
SVG = "{http://www.w3.org/2000/svg}"


def mark(kind, starts, departs, **more):
    fields = {"label": "1", "says": "somewhere", "arrives": starts, **more}
    return Mark(kind=kind, starts=starts, departs=departs, **fields)


def read(picture):
    return ET.fromstring(picture)  # noqa: S314 (a picture we have just drawn)


def drawn(marks):
    return read(timeline(marks, key="t", title="A day", shift=(7 * HOUR, 17 * HOUR)))


def rects(svg, look):
    return [one for one in svg.iter(f"{SVG}rect") if look in one.get("class").split()]


def test_a_time_is_written_as_hours_and_minutes():
    assert clock(7 * HOUR + 5 * 60) == "07:05"


def test_blocks_stand_in_proportion_to_their_time():
    svg = drawn([mark("job", 8 * HOUR, 9 * HOUR), mark("job", 10 * HOUR, 12 * HOUR)])
    one, two = (float(box.get("width")) for box in rects(svg, "c-stop-job"))
    assert abs(two / one - 2) < 0.01


def test_every_kind_of_stop_is_drawn_in_its_own_way():
    kinds = ("job", "tip", "break")
    svg = drawn([mark(kind, 8 * HOUR, 9 * HOUR) for kind in kinds])
    assert [len(rects(svg, f"c-stop-{kind}")) for kind in kinds] == [1, 1, 1]
    assert len(rects(svg, "c-stop-inner")) == 1


def test_driving_is_drawn_between_stops_only_where_time_passes():
    marks = [mark("base", 7 * HOUR, 7 * HOUR), mark("job", 8 * HOUR, 9 * HOUR)]
    lines = [one for one in drawn(marks).iter(f"{SVG}line") if one.get("class") == "c-drive"]
    assert len(lines) == 1


def test_a_round_past_the_shift_still_fits_on_the_picture():
    svg = drawn([mark("job", 18 * HOUR, 19 * HOUR)])
    [box] = rects(svg, "c-stop-job")
    assert float(box.get("x")) + float(box.get("width")) <= 1000


def test_names_are_escaped_and_described():
    svg = drawn([mark("job", 8 * HOUR, 9 * HOUR, says="<b>Rose & Crown</b>")])
    assert svg.get("role") == "img"
    assert "<b>Rose & Crown</b>" in svg.find(f"{SVG}desc").text


def test_a_week_over_capacity_is_marked():
    loads = [WeekLoad("1 Mar", 3, 9000, 18000), WeekLoad("8 Mar", 9, 27000, 18000)]
    svg = read(weeks(loads, key="w", title="Weeks"))
    assert len(rects(svg, "c-week")) == 2
    assert len(rects(svg, "c-week-over")) == 1


def test_no_week_at_all_is_still_a_picture():
    assert read(weeks([], key="w", title="Weeks")).tag == f"{SVG}svg"
