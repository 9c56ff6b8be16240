"""`manage.py plan_sheet`: the planner without the database. The fields are the README's."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

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
    call_command("plan_sheet", path, stdout=out, **{"iterations": 20, **options})
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
