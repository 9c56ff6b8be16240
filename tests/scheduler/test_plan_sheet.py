"""`manage.py plan_sheet`: the planner without the database. The fields are the README's."""

import datetime as dt
import io
import json

import pytest
from django.core.management import CommandError, call_command

MONDAY = dt.date(2027, 3, 1)
SHEET = {
    "start": "2027-03-01",
    "days": 1,
    "travel": {"kind": "straight_line"},
    "bases": [{"id": "yard", "lat": 52.5, "lon": -2.9}],
    "works": [{"id": "works", "lat": 52.55, "lon": -2.85, "opens": "07:00", "closes": "17:00"}],
    "tankers": [{"id": "nine", "base": "yard", "capacity_litres": 9000, "pence_per_km": 90}],
    "jobs": [
        {"id": "farm", "lat": 52.52, "lon": -2.88, "litres": 3000, "minutes": 40, "required": True},
        {"id": "pond", "lat": 52.58, "lon": -2.8, "litres": 30000, "minutes": 40, "required": True},
    ],
}


@pytest.fixture
def sheet(tmp_path):
    def written(change=None):
        path = tmp_path / "problem.json"
        path.write_text(json.dumps(SHEET | (change or {})))
        return str(path)

    return written


def plan_of(path, **options):
    out = io.StringIO()
    call_command("plan_sheet", path, stdout=out, **{"iterations": 20, "today": MONDAY, **options})
    return json.loads(out.getvalue())


def test_every_job_is_on_a_round_or_left_out_with_a_reason(sheet):
    plan = plan_of(sheet())
    [round_] = plan["rounds"]
    assert (round_["tanker"], round_["date"]) == ("nine", "2027-03-01")
    assert [(stop["kind"], stop["id"]) for stop in round_["stops"]] == [
        ("base", "yard"),
        ("job", "farm"),
        ("tip", "works"),
        ("base", "yard"),
    ]
    assert [line["id"] for line in plan["left_out"]] == ["pond"]
    assert plan["checked"] is True
    assert plan["cost_pence"]["total"] > 0


def test_the_same_seed_and_steps_give_the_same_plan(sheet):
    assert plan_of(sheet(), seed=7) == plan_of(sheet(), seed=7)


def test_a_dash_reads_standard_input(sheet, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(json.dumps(SHEET)))
    assert plan_of("-")["rounds"]


def test_a_matrix_of_the_sheet_is_used(sheet):
    ids = ["yard", "works", "farm", "pond"]
    table = [[0 if a == b else 600 for b in ids] for a in ids]
    metres = [[each * 10 for each in row] for row in table]
    travel = {"kind": "matrix", "ids": ids, "metres": metres, "seconds": table}
    assert plan_of(sheet({"travel": travel}))["rounds"][0]["metres"] == 18_000


JOB = SHEET["jobs"][0]


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ({"jobs": [JOB | {"litres": "much"}]}, ("farm", "litres")),
        ({"jobs": [JOB | {"lat": None}]}, ("farm", "lat")),
        ({"jobs": [JOB | {"colour": "red"}]}, ("farm", "colour")),
        ({"jobs": [JOB, JOB]}, ("farm", "twice")),
        ({"tankers": []}, ("tankers", "no tanker")),
        ({"tankers": [{"id": "x", "base": "moon", "capacity_litres": 1}]}, ("x", "moon")),
        ({"start": "1 March"}, ("start",)),
        ({"days": 0}, ("days",)),
        ({"works": []}, ("works", "no treatment works")),
        ({"bases": []}, ("nine", "yard")),
        ({"jobs": [JOB | {"id": " "}]}, ("id", "empty")),
        ({"jobs": [JOB | {"windows": [["2027-03-01", "2027-03-01"]]}]}, ("farm", "windows")),
        (
            {"jobs": [JOB | {"windows": [["2027-03-01T12:00", "2027-03-01T11:00"]]}]},
            ("farm", "windows"),
        ),
        ({"works": [SHEET["works"][0] | {"hours": {"monday": None}}]}, ("works", "monday")),
        (
            {
                "travel": {
                    "kind": "matrix",
                    "ids": ["yard", "works", "farm", "pond", "farm"],
                    "metres": [[0] * 5] * 5,
                    "seconds": [[0] * 5] * 5,
                }
            },
            ("farm", "twice"),
        ),
        (
            {"travel": {"kind": "matrix", "ids": ["yard"], "metres": [[0]], "seconds": [[0]]}},
            ("ids",),
        ),
    ],
)
def test_a_fault_names_the_file_the_item_and_the_field(sheet, change, names):
    path = sheet(change)
    with pytest.raises(CommandError) as caught:
        plan_of(path)
    assert caught.value.returncode == 2
    assert str(caught.value).startswith(path)
    for name in names:
        assert name in str(caught.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"litres": 90_000, "may_split": True}, "more than 6 visits"),
        ({"lat": -2.88, "lon": 52.52}, "look swapped"),
        ({"lat": 0, "lon": 0}, "0, 0"),
        ({"minutes": 1500}, "do not fit any shift"),
        ({"windows": [["2027-03-01T20:00", "2027-03-01T21:00"]]}, "do not fit any shift"),
        ({"windows": [["2028-03-01T10:00", "2028-03-01T11:00"]]}, "in these days"),
        ({"latest": "2027-02-01"}, "before these days"),
    ],
)
def test_what_only_one_job_has_wrong_leaves_only_that_job_out(sheet, change, words):
    plan = plan_of(sheet({"jobs": [JOB, JOB | {"id": "odd", **change}]}))
    assert [line["id"] for line in plan["left_out"]] == ["odd"]
    assert words in plan["left_out"][0]["why"]
    assert [stop["id"] for stop in plan["rounds"][0]["stops"] if stop["kind"] == "job"] == ["farm"]


@pytest.mark.parametrize("change", [{"minutes": 0}, {"litres": 0}, {"lat": 52.5, "lon": -2.9}])
def test_a_job_of_no_time_no_litres_or_no_distance_is_planned(sheet, change):
    plan = plan_of(sheet({"jobs": [JOB | change]}))
    assert plan["left_out"] == []
    assert plan["checked"]


def test_a_works_on_the_other_side_of_the_globe_is_named(sheet):
    works = SHEET["works"][0] | {"lat": -2.85, "lon": 52.55}
    plan = plan_of(sheet({"works": [works], "jobs": [JOB]}))
    assert "nearest works" in plan["left_out"][0]["why"]
    assert "swapped" in plan["left_out"][0]["why"]


def test_the_break_the_rules_ask_for_stands_on_the_round_with_its_time(sheet):
    tanker = SHEET["tankers"][0] | {"driver_hours": "assimilated", "shift": ["07:00", "17:00"]}
    jobs = [JOB | {"id": f"farm {n}", "litres": 1000, "minutes": 60} for n in range(8)]
    [round_] = plan_of(sheet({"tankers": [tanker], "jobs": jobs}))["rounds"]
    [rest] = [stop for stop in round_["stops"] if stop["kind"] == "break"]
    # Six hours' work from leaving the yard at the latest, and half an hour at least.
    assert "10:00:00" <= rest["start"] <= "13:00:00"
    minutes = [int(rest[at][:2]) * 60 + int(rest[at][3:5]) for at in ("start", "depart")]
    assert minutes[1] - minutes[0] >= 30


@pytest.mark.parametrize("text", ["{", "[1, 2]", "\ud800"])
def test_what_is_no_sheet_is_refused_in_words(tmp_path, text):
    path = tmp_path / "bad.json"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(CommandError) as caught:
        plan_of(str(path))
    assert caught.value.returncode == 2


def test_a_file_that_is_not_there_is_named():
    with pytest.raises(CommandError, match=r"nowhere\.json: it cannot be read"):
        plan_of("nowhere.json")


def test_a_sheet_of_days_gone_by_is_planned_and_says_so(sheet):
    plan = plan_of(sheet({"start": "2020-03-02"}), today=None)
    assert [round_["date"] for round_ in plan["rounds"]] == ["2020-03-02"]
    assert any("a day gone by" in warning for warning in plan["warnings"])


def test_a_sheet_that_is_over_on_the_day_said_is_refused(sheet):
    with pytest.raises(CommandError, match="already over"):
        plan_of(sheet({"start": "2020-03-02"}), today=MONDAY)
