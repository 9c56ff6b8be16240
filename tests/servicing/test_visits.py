"""Recording a visit: what it changes, and that it happens once."""

import datetime as dt
import uuid

import pytest
from django.core.exceptions import PermissionDenied

from servicing.models import (
    Chamber,
    ChamberFinding,
    Dip,
    Emptying,
    FieldFinding,
    System,
    Visit,
)
from servicing.visit_facts import (
    ChamberFound,
    DefectFound,
    DipFound,
    FieldFound,
    PlantFound,
    RemovalFound,
    VisitFound,
    VisitRefused,
)
from servicing.visits import correct_visit, record_visit
from tests.make import make_organisation, make_system, make_user

TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def system(db):
    return make_system(
        kind=System.Kind.SEPTIC_TANK,
        installed_on=dt.date(2010, 5, 1),
        tank={"outlet_height_mm": 1200},
    )


@pytest.fixture
def tess(system):
    return make_user(system.organisation, "crew", name="Tess")


def found(**fields):
    return VisitFound(**{"visited_on": TODAY, "lid_back_on": True, **fields})


def test_a_visit_keeps_every_reading(system, tess):
    chamber = Chamber.objects.create(system=system, label="IC1")
    told = found(
        dips=(DipFound(tank=system.tanks.get(), sludge_mm=300, scum_mm=80, liquid_level_mm=0),),
        removal=RemovalFound(litres_removed=2700, refilled_with_water=True),
        chambers=(ChamberFound(chamber=chamber, debris="wipes", amount=2, flow="slow"),),
        drainage_field=FieldFound(surface="damp"),
        plant=PlantFound(blower_running=True),
        defects=(DefectFound(what="Outlet dip pipe broken", severity="repair"),),
    )
    visit = record_visit(system=system, found=told, by=tess, today=TODAY)
    assert visit.recorded_by == tess
    assert visit.dips.get().sludge_mm == 300
    assert visit.emptying.litres_removed == 2700
    assert visit.chamber_findings.get().debris == ChamberFinding.Debris.WIPES
    assert visit.field_finding.surface == FieldFinding.Surface.DAMP
    assert visit.plant_check.blower_running
    assert visit.defects.get().severity == "repair"


def test_an_emptying_moves_the_last_emptied_day_and_the_forecast(system, tess):
    told = found(removal=RemovalFound(litres_removed=2700))
    record_visit(system=system, found=told, by=tess, today=TODAY)
    system.refresh_from_db()
    assert system.last_emptied_on == TODAY
    assert system.forecast.made_on == TODAY
    assert system.forecast.due_on > TODAY


def test_an_emptying_in_part_is_no_emptying_of_the_system(system, tess):
    part = RemovalFound(litres_removed=900, all_compartments=False, left_behind_litres=500)
    record_visit(system=system, found=found(removal=part), by=tess, today=TODAY)
    system.refresh_from_db()
    assert system.last_emptied_on is None


def test_a_record_brought_in_late_does_not_move_the_day_back(system, tess):
    system.last_emptied_on = dt.date(2026, 6, 1)
    system.save()
    told = found(visited_on=dt.date(2025, 6, 1), removal=RemovalFound(litres_removed=2000))
    record_visit(system=system, found=told, by=tess, today=TODAY)
    system.refresh_from_db()
    assert system.last_emptied_on == dt.date(2026, 6, 1)


def test_a_service_and_a_look_move_their_days(system, tess):
    chamber = Chamber.objects.create(system=system, label="IC1")
    told = found(serviced=True, chambers=(ChamberFound(chamber=chamber),))
    record_visit(system=system, found=told, by=tess, today=TODAY)
    system.refresh_from_db()
    chamber.refresh_from_db()
    assert (system.last_serviced_on, chamber.last_inspected_on) == (TODAY, TODAY)


def test_the_same_sheet_twice_is_one_visit(system, tess):
    told = found(removal=RemovalFound(litres_removed=2700))
    first = record_visit(system=system, found=told, by=tess, today=TODAY)
    second = record_visit(system=system, found=told, by=tess, today=TODAY)
    assert first == second
    assert Visit.objects.count() == Emptying.objects.count() == 1


def test_a_sheet_of_another_system_is_refused(system, tess):
    key = uuid.uuid4()
    other = make_system(system.organisation)
    record_visit(system=other, found=found(sheet_key=key), by=tess, today=TODAY)
    with pytest.raises(VisitRefused):
        record_visit(system=system, found=found(sheet_key=key), by=tess, today=TODAY)


@pytest.mark.parametrize("role", ["reader", None])
def test_who_may_not_visit_may_not_record(system, role):
    sid = make_user(system.organisation if role else None, role or "crew", name="Sid")
    with pytest.raises(PermissionDenied):
        record_visit(system=system, found=found(), by=sid, today=TODAY)
    assert not Visit.objects.exists()


def test_an_operators_crew_records_for_the_installer(system):
    operator = make_organisation()
    tess = make_user(operator, "crew")
    visit = record_visit(system=system, found=found(), by=tess, today=TODAY, done_by=operator)
    assert visit.organisation == system.organisation


def test_every_fault_is_told_at_once_and_nothing_is_written(system, tess):
    told = found(
        visited_on=TODAY + dt.timedelta(days=3),
        lid_back_on=False,
        removal=RemovalFound(litres_removed=-5),
    )
    with pytest.raises(VisitRefused) as refused:
        record_visit(system=system, found=told, by=tess, today=TODAY)
    assert len(refused.value.refusals) == 3
    assert not Visit.objects.exists()


def test_a_correction_keeps_the_old_record(system, tess):
    wrong = record_visit(
        system=system,
        found=found(removal=RemovalFound(litres_removed=270)),
        by=tess,
        today=TODAY,
    )
    right = found(removal=RemovalFound(litres_removed=2700))
    new = correct_visit(visit=wrong, found=right, by=tess, today=TODAY)
    wrong.refresh_from_db()
    assert wrong.replaced_by == new
    assert wrong.emptying.litres_removed == 270
    assert list(Visit.objects.that_count()) == [new]


def test_a_correction_keeps_the_tip_ticket(system, tess):
    wrong = RemovalFound(litres_removed=270, tipped_at="Low Works", tip_ticket="T-1")
    old = record_visit(system=system, found=found(removal=wrong), by=tess, today=TODAY)
    right = found(removal=RemovalFound(litres_removed=2700))
    new = correct_visit(visit=old, found=right, by=tess, today=TODAY)
    assert (new.emptying.tipped_at, new.emptying.tip_ticket) == ("Low Works", "T-1")


def test_a_correction_twice_is_one_correction(system, tess):
    wrong = record_visit(system=system, found=found(), by=tess, today=TODAY)
    right = found(notes="as it was")
    first = correct_visit(visit=wrong, found=right, by=tess, today=TODAY)
    assert correct_visit(visit=wrong, found=right, by=tess, today=TODAY) == first
    with pytest.raises(VisitRefused):
        correct_visit(visit=wrong, found=found(), by=tess, today=TODAY)


def test_correcting_away_an_emptying_brings_back_the_day_before_it(system, tess):
    system.last_emptied_on = dt.date(2024, 3, 1)
    system.save()
    wrong = record_visit(
        system=system,
        found=found(removal=RemovalFound(litres_removed=2700)),
        by=tess,
        today=TODAY,
    )
    correct_visit(visit=wrong, found=found(), by=tess, today=TODAY)
    system.refresh_from_db()
    assert system.last_emptied_on == dt.date(2024, 3, 1)
    assert system.forecast.made_on == TODAY


def test_what_the_verb_writes_is_what_the_rows_allow(system, tess):
    told = found(dips=(DipFound(tank=system.tanks.get(), scum_mm=20, method="dip_stick"),))
    visit = record_visit(system=system, found=told, by=tess, today=TODAY)
    visit.dips.get().full_clean()
    assert visit.dips.get().method == Dip.Method.DIP_STICK
