"""Lists reach the register once, whole, with their history, and change it only when told to."""

import csv
import datetime as dt
import io
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied
from django.core.management import CommandError, call_command

from customers.models import AftercarePlan, Agreement, Membership, Party, Person, Premises
from servicing.importers.columns import guess_mapping
from servicing.importers.files import open_sheet
from servicing.importers.intake import Intake, bring_in, defaults_for, survey
from servicing.models import Chamber, Occupancy, System, Tank
from servicing.register_export import register_lines
from tests.make import make_organisation, make_premises, make_system, make_user

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 25)
HEADINGS = "Ref,Kind,House,Postcode,Grid ref,Capacity (gal),Last emptied,Installed,Persons,Owner,E-mail,Chambers\n"
LINES = (
    "A1,septic tank,Nant Farm,LD1 5AA,SO 0510 6110,1000,15/03/2021,2009,4,Omar Field,omar@home.example,2\n"
    "A2,cesspool,Nant Farm,LD1 5AA,SO 0510 6110,4000,,2009,,Omar Field,omar@home.example,\n"
    "A3,treatment plant,Mill,LD1 5AB,,800,1/1/2024,2015,3 bed,Ada Brook,,\n"
)


def intake_of(tmp_path, organisation, text=HEADINGS + LINES):
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    sheet = open_sheet(path)
    return Intake(sheet, guess_mapping(sheet), defaults_for(organisation), organisation, TODAY)


def brought(tmp_path, organisation, text=HEADINGS + LINES, *, by=None, take_changes=False):
    return bring_in(intake_of(tmp_path, organisation, text), by=by, take_changes=take_changes)[0]


def test_list_becomes_systems_with_all_that_belongs_to_them(tmp_path):
    organisation = make_organisation()
    assert brought(tmp_path, organisation).added == 3
    system = System.objects.get(organisation=organisation, reference="A1")
    assert system.kind == System.Kind.SEPTIC_TANK
    assert system.installed_on == dt.date(2009, 1, 1)
    assert system.tanks.get().working_volume_litres == pytest.approx(4546.1)
    assert system.occupancies.get().persons == 4
    assert system.chambers.count() == 2
    assert system.premises.location_source == Premises.LocationSource.GRID
    assert System.objects.get(reference="A3").bedrooms == 3


def test_systems_at_one_place_share_it_and_its_owner(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    assert Premises.objects.filter(organisation=organisation).count() == 2
    assert Person.objects.filter(organisation=organisation).count() == 2
    assert Party.objects.filter(premises__name="Nant Farm").count() == 1


def test_known_places_and_people_are_used_again(tmp_path):
    organisation = make_organisation()
    there = make_premises(organisation, name="Mill", postcode="LD1 5AB")
    brought(tmp_path, organisation)
    assert System.objects.get(reference="A3").premises == there


def test_same_list_twice_adds_nothing(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    counted = [
        model.objects.count() for model in (System, Premises, Person, Party, Tank, Occupancy)
    ]
    again = brought(tmp_path, organisation)
    assert (again.added, again.same, again.changed, again.left) == (0, 3, 0, 0)
    assert counted == [
        model.objects.count() for model in (System, Premises, Person, Party, Tank, Occupancy)
    ]


def test_new_systems_are_found_by_owner_and_place(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    found = System.objects.filter(search_text__contains="omar field")
    assert {system.reference for system in found} == {"A1", "A2"}


def test_history_says_who_and_from_which_list(tmp_path):
    organisation = make_organisation()
    ines = make_user(organisation)
    brought(tmp_path, organisation, by=ines)
    line = System.history.get(reference="A1")
    assert line.history_user == ines
    assert line.history_change_reason == "Brought in from list.csv"
    assert Tank.history.count() == 3


def test_differences_are_left_unless_taken(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    other = HEADINGS + LINES.replace("15/03/2021", "20/05/2024").replace(",4,Omar", ",5,Omar")
    assert brought(tmp_path, organisation, other).left == 1
    assert System.objects.get(reference="A1").last_emptied_on == dt.date(2021, 3, 15)
    assert brought(tmp_path, organisation, other, take_changes=True).changed == 1
    system = System.objects.get(reference="A1")
    assert system.last_emptied_on == dt.date(2024, 5, 20)
    assert system.occupancies.get().persons == 5
    assert brought(tmp_path, organisation, other).same == 3


def test_survey_shows_each_difference_and_writes_nothing(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    other = HEADINGS + LINES.replace("1000", "1200").replace("Omar Field", "Tess Field")
    found = survey(intake_of(tmp_path, organisation, other))
    told = {each.what: (each.before, each.after) for each in found.changes[0].differences}
    assert told["working volume, litres"] == ("4,546.1", "5,455.3")
    assert told["owner"] == ("Omar Field, omar@home.example", "Tess Field, omar@home.example")
    assert System.history.count() == 3


def test_new_owner_takes_the_place_of_the_old(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    other = HEADINGS + LINES.replace("Ada Brook,", "Tess Field,tess@home.example")
    brought(tmp_path, organisation, other, take_changes=True)
    parties = Party.objects.filter(premises__name="Mill").order_by("pk")
    assert [(one.person.name, one.until) for one in parties] == [
        ("Ada Brook", TODAY),
        ("Tess Field", None),
    ]
    assert System.objects.filter(search_text__contains="tess field").count() == 1


def test_older_emptying_in_the_list_changes_nothing(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    older = HEADINGS + LINES.replace("15/03/2021", "15/03/2019")
    assert brought(tmp_path, organisation, older, take_changes=True).same == 3


def test_dated_use_is_continued_not_overwritten(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    system = System.objects.get(reference="A1")
    Occupancy.objects.create(system=system, since=dt.date(2025, 1, 1), persons=2)
    brought(tmp_path, organisation, take_changes=True)
    assert [(one.since, one.persons) for one in system.occupancies.all()] == [
        (None, 4),
        (dt.date(2025, 1, 1), 2),
        (TODAY, 4),
    ]


def test_agreement_of_a_place_is_added_once(tmp_path):
    organisation = make_organisation()
    AftercarePlan.objects.create(organisation=organisation, name="Yearly care", price_pence=9900)
    text = (
        "Ref,Kind,House,Postcode,Service plan,Agreement ends\n"
        "A1,septic,Mill,LD1 5AA,yearly care,31/12/2026\n"
        "A2,septic,Mill,LD1 5AA,yes,31/12/2026\n"
    )
    brought(tmp_path, organisation, text)
    agreement = Agreement.objects.get()
    assert (agreement.starts_on, agreement.price_pence) == (dt.date(2026, 1, 1), 9900)
    assert brought(tmp_path, organisation, text).same == 2


def test_system_that_is_a_chamber_can_be_looked_into(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation, "Ref,Kind,House\nC1,inspection chamber,Mill\n")
    assert Chamber.objects.get().system.reference == "C1"


def test_other_registers_are_out_of_reach(tmp_path):
    make_system(make_organisation(), reference="A1")
    organisation = make_organisation()
    assert brought(tmp_path, organisation).added == 3


def test_reader_and_stranger_may_not_bring_lists_in(tmp_path):
    organisation = make_organisation()
    for user in (make_user(organisation, Membership.Role.READER), make_user(make_organisation())):
        with pytest.raises(PermissionDenied):
            brought(tmp_path, organisation, by=user)
    assert not System.objects.exists()


def test_list_that_breaks_off_leaves_nothing_behind(tmp_path, monkeypatch):
    organisation = make_organisation()
    monkeypatch.setattr("servicing.importers.sheets.MAX_ROWS", 2)
    with pytest.raises(ValueError, match="more than 2 rows"):
        brought(tmp_path, organisation)
    assert not System.objects.exists()
    assert not Premises.objects.exists()


def test_queries_are_few_beside_the_rows(tmp_path, django_assert_max_num_queries):
    lines = "".join(f"B{n},septic,House {n},LD1 5AA,Owner {n}\n" for n in range(400))
    organisation = make_organisation()
    with django_assert_max_num_queries(100):
        brought(tmp_path, organisation, "Ref,Kind,House,Postcode,Owner\n" + lines)
    assert System.objects.count() == 400


def run(*arguments):
    out, err = io.StringIO(), io.StringIO()
    call_command("import_systems", *map(str, arguments), stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


@pytest.fixture
def larkholt(tmp_path):
    make_organisation(slug="larkholt")
    path = tmp_path / "old.csv"
    path.write_text(HEADINGS + LINES + "A4,septic,Barn,LD1 5AA,,-5,1/1/2031,,,,,\n")
    return path


def test_command_tells_and_writes_nothing_without_commit(larkholt):
    out, err = run(larkholt, "--organisation", "larkholt")
    assert "4 rows: 3 would be added, 0 are the same, 0 differ, 1 are refused." in out
    assert "old.csv, line 5: Capacity (gal): a volume of -5 is impossible" in err
    assert "old.csv, line 5: Last emptied: 01/01/2031 lies in the future" in err
    assert not System.objects.exists()


def test_command_brings_in_with_commit_and_the_corrected_rest_after(larkholt):
    out, _ = run(larkholt, "--organisation", "larkholt", "--commit")
    assert "3 added" in out
    refused = larkholt.with_name("old-refused.csv")
    text = refused.read_text(encoding="utf-8-sig")
    refused.write_text(text.replace("-5,1/1/2031", "600,1/1/2025").replace("'", ""))
    out, _ = run(refused, "--organisation", "larkholt", "--commit", "--forecast")
    assert "1 rows: 1 added" in out
    assert System.objects.filter(forecast__isnull=False).count() == 4


def test_command_takes_corrections_of_the_columns(larkholt):
    run(
        larkholt, "--organisation", "larkholt", "--commit",
        "--map", "Capacity (gal)=volume:us_gallons", "--map", "Owner=",
    )  # fmt: skip
    assert Tank.objects.get(system__reference="A1").working_volume_litres == pytest.approx(3785.4)
    assert not Person.objects.filter(name="Omar Field").exists()


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        (["--organisation", "nobody"], "no organisation “nobody”"),
        (["--organisation", "larkholt", "--map", "Depth=notes"], "no column “Depth”"),
        (["--organisation", "larkholt", "--map", "Depth"], "COLUMN=FIELD"),
    ],
)
def test_command_refuses_what_it_cannot_do(larkholt, arguments, reason):
    with pytest.raises(CommandError, match=reason) as refusal:
        run(larkholt, *arguments)
    assert refusal.value.returncode == 2


def test_command_refuses_a_file_that_is_not_there(larkholt):
    with pytest.raises(CommandError, match="no file"):
        run(larkholt.with_name("gone.csv"), "--organisation", "larkholt")


def test_exported_register_comes_in_again_as_the_same(tmp_path):
    organisation = make_organisation()
    brought(tmp_path, organisation)
    System.objects.filter(reference="A1").update(notes='=HYPERLINK("x")', lid_note="@home")
    text = "".join(register_lines(organisation)).lstrip("\ufeff")
    rows = {row["Reference"]: row for row in csv.DictReader(io.StringIO(text))}
    assert rows["A1"]["Notes"] == '\'=HYPERLINK("x")'
    assert rows["A1"]["Where the lid is"] == "'@home"
    assert brought(tmp_path, organisation, text).same == 3


def test_export_keeps_to_one_register(tmp_path):
    make_system(make_organisation(), reference="THEIRS")
    organisation = make_organisation()
    brought(tmp_path, organisation)
    assert "THEIRS" not in "".join(register_lines(organisation))


def test_untidy_list_of_past_installations_comes_in_as_a_person_would_read_it():
    # An invented list with the faults of real ones; it serves as a sample for trying things out.
    organisation = make_organisation(slug="larkholt")
    path = Path(__file__).parents[2] / "data" / "past_installations.csv"
    sheet = open_sheet(path)
    intake = Intake(sheet, guess_mapping(sheet), defaults_for(organisation), organisation, TODAY)
    done, refused = bring_in(intake, by=None, take_changes=False)
    assert (done.added, refused) == (10, 6)
    litres = dict(Tank.objects.values_list("system__reference", "working_volume_litres"))
    assert litres["LK0101"] == litres["LK0104"] / 4 == pytest.approx(4546.1, abs=0.1)
    assert litres["LK0107"] == pytest.approx(2271.2)
    assert System.objects.get(reference="LK0105").installed_on == dt.date(2021, 3, 15)
    assert {row.line for row in survey(intake).refusals} == set(range(14, 20))
