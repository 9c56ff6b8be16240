"""Forecasts of a sheet, without the database."""

import csv
import io

import pytest
from django.core.management import CommandError, call_command

TANKS = "reference,working_volume_litres,persons,emptied_on"


@pytest.fixture
def sheet(tmp_path):
    def write(name, *lines):
        path = tmp_path / name
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return str(path)

    return write


def run(*arguments):
    out = io.StringIO()
    call_command("forecast_sheet", *arguments, stdout=out, stderr=io.StringIO())
    return list(csv.DictReader(io.StringIO(out.getvalue())))


def faults_of(*arguments):
    with pytest.raises(CommandError) as raised:
        run(*arguments)
    assert raised.value.returncode == 2
    return str(raised.value).splitlines()


def test_a_sheet_is_answered_in_its_own_order_with_every_column(sheet):
    tanks = sheet("t.csv", TANKS, "B,2800,3,2025-05-01", "A,4600,5,2024-05-01")
    rows = run("--tanks", tanks, "--on", "2027-01-01", "--by", "2027-07-01,2028-07-01")
    assert [row["reference"] for row in rows] == ["B", "A"]
    # Columns as the README lists them.
    assert list(rows[0]) == [
        "reference", "level_p10", "level_p50", "level_p90", "removal_p10", "removal_p50",
        "removal_p90", "due_on", "binding_rule", "over_by_2027-07-01", "over_by_2028-07-01",
        "rate_l_per_person_year_p50",
    ]  # fmt: skip


def test_a_known_home_without_a_dip_fills_at_the_published_rate(sheet):
    # Gray 1995: 83 L a person at 1 year; the model says 85 there.
    tanks = sheet("t.csv", TANKS, "A,2800,4,2026-01-01")
    row = run("--tanks", tanks, "--on", "2027-01-01")[0]
    left_behind = 0.05 * 2800  # what an emptying usually leaves: judgement, no source
    assert float(row["level_p50"]) == pytest.approx(left_behind + 4 * 83, rel=0.08)
    assert float(row["rate_l_per_person_year_p50"]) == pytest.approx(85, rel=0.02)


def test_a_larger_accepted_risk_is_never_earlier(sheet):
    tanks = sheet("t.csv", TANKS, "A,2800,4,2026-01-01")
    due = [run("--tanks", tanks, "--on", "2027-01-01", "--risk", risk)[0]["due_on"]
           for risk in ("0.05", "0.10", "0.40")]  # fmt: skip
    assert due == sorted(set(due))


def test_a_ceiling_binds_and_is_named(sheet):
    tanks = sheet("t.csv", f"{TANKS},ceiling_months", "A,2800,2,2026-02-28,12")
    row = run("--tanks", tanks, "--on", "2027-01-01")[0]
    assert (row["due_on"], row["binding_rule"]) == ("2027-02-28", "ceiling_other")


def test_depths_need_a_shape_and_are_read_with_one(sheet):
    # A box of 1 m x 2 m: 100 mm of sludge and 50 mm of scum are 300 L. Exact geometry.
    tanks = sheet(
        "t.csv",
        f"{TANKS},shape,length_mm,width_mm,outlet_height_mm",
        "A,,3,2025-01-01,rectangular,2000,1000,1400",
        "B,2800,3,2025-01-01,,,,",
    )
    by_depth = sheet("d.csv", "reference,dipped_on,sludge_mm,scum_mm", "A,2026-01-01,100,50")
    by_litres = sheet("l.csv", "reference,dipped_on,litres", "A,2026-01-01,300")
    one, other = (
        run("--tanks", tanks, "--dips", dips, "--on", "2027-01-01")
        for dips in (by_depth, by_litres)
    )
    assert one == other
    wrong = sheet("w.csv", "reference,dipped_on,sludge_mm", "B,2026-01-01,100")
    assert (
        "w.csv, line 2, sludge_mm: "
        in faults_of("--tanks", tanks, "--dips", wrong, "--on", "2027-01-01")[0]
    )


@pytest.mark.parametrize(
    ("row", "where"),
    [
        ("A,nan,3,2025-01-01", "working_volume_litres"),
        ("A,-2800,3,2025-01-01", "working_volume_litres"),
        ("A,0,3,2025-01-01", "working_volume_litres"),
        ('A,"2,800",3,2025-01-01', "working_volume_litres"),
        ("A,,3,2025-01-01", "working_volume_litres"),
        ("A,2800,three,2025-01-01", "persons"),
        ("A,2800,99999,2025-01-01", "persons"),
        ("A,2800,3,2025-02-29", "emptied_on"),
        ("A,2800,3,01/02/2025", "emptied_on"),
        ("A,2800,3,2031-01-01", "emptied_on"),
        ("A,2800,3,1821-01-01", "emptied_on"),
        ("A,2800,3,", "emptied_on"),
        (",2800,3,2025-01-01", "reference"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_by_file_line_and_field(sheet, row, where):
    tanks = sheet("t.csv", TANKS, "Sound,2800,3,2025-01-01", row)
    faults = faults_of("--tanks", tanks, "--on", "2027-01-01")
    assert any(f"t.csv, line 3, {where}: " in fault for fault in faults)


@pytest.mark.parametrize(
    ("row", "where"),
    [
        ("Z,2026-01-01,300", "reference"),
        ("A,2024-01-01,300", "dipped_on"),
        ("A,2028-01-01,300", "dipped_on"),
        ("A,2026-01-01,9000", "litres"),
        ("A,2026-01-01,-1", "litres"),
        ("A,,300", "dipped_on"),
        ("A,2026-01-01,", "sludge_mm"),
    ],
)  # fmt: skip
def test_a_wrong_dip_is_told_by_file_line_and_field(sheet, row, where):
    tanks = sheet("t.csv", TANKS, "A,2800,3,2025-01-01")
    dips = sheet("d.csv", "reference,dipped_on,litres", row)
    faults = faults_of("--tanks", tanks, "--dips", dips, "--on", "2027-01-01")
    assert len(faults) == 1
    assert f"d.csv, line 2, {where}: " in faults[0]


def test_columns_we_do_not_know_miss_or_see_twice_are_refused(sheet):
    tanks = sheet("t.csv", "reference,working_volume_litres,persons,person,persons", "A,1,1,1,1")
    faults = faults_of("--tanks", tanks, "--on", "2027-01-01")
    assert [fault.split(", ")[2] for fault in faults] == [
        "emptied_on: this column is missing",
        "person: is not a column we know",
        "persons: stands twice",
    ]


def test_a_fleet_that_fills_slowly_teaches_its_unmeasured_tanks(sheet):
    # Invented: forty homes found at half the book's rate.
    rows = [f"S{n},2800,4,2024-01-01" for n in range(41)]
    dips = [f"S{n},2026-01-01,{200 + n}" for n in range(40)]
    tanks = sheet("t.csv", TANKS, *rows)
    measured = sheet("d.csv", "reference,dipped_on,litres", *dips)
    by_book, taught = (
        float(
            run("--tanks", tanks, "--dips", measured, "--on", "2027-01-01", *more)[40][
                "rate_l_per_person_year_p50"
            ]
        )
        for more in ((), ("--learn-fleet",))
    )
    assert taught < 0.6 * by_book


def test_the_order_of_rows_changes_no_forecast(sheet):
    rows = ["A,2800,3,2025-01-01", "B,4600,,2024-02-29", "C,2800,1,2023-01-01"]
    there = run("--tanks", sheet("t.csv", TANKS, *rows), "--on", "2027-01-01")
    back = run("--tanks", sheet("u.csv", TANKS, *rows[::-1]), "--on", "2027-01-01")
    assert there == back[::-1]


def test_a_day_is_a_day_of_the_calendar(sheet):
    tanks = sheet("t.csv", TANKS, "A,2800,3,2025-01-01")
    with pytest.raises(CommandError, match="must be a day such as"):
        run("--tanks", tanks, "--on", "2027-02-29")
    assert run("--tanks", tanks, "--on", "2028-02-29")
