"""Writing systems down and correcting them: what is refused, what is kept, what follows."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.exceptions import PermissionDenied
from django.urls import reverse

from customers.models import Premises
from servicing import corrections
from servicing.models import Chamber, Forecast, Occupancy, System, Tank
from tests.make import make_organisation, make_premises, make_system, make_user

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 25)


@pytest.fixture(autouse=True)
def now(time_machine):
    time_machine.move_to(dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC), tick=False)


@pytest.fixture
def organisation():
    return make_organisation()


@pytest.fixture
def ines(organisation):
    return make_user(organisation)


@pytest.fixture
def office(client, ines):
    client.force_login(ines)
    return client


def typed(**fields):
    return {
        "place-name": "Withy Hollow",
        "system-reference": "LD-1",
        "system-kind": "septic_tank",
        "system-installed_on": "2015-06-01",
        "system-last_emptied_on": "2024-05-01",
        "tank-shape": "unknown",
        "tank-working_volume_litres": "2800",
        "use-use": "residence",
        "use-persons": "4",
        "use-weeks_per_year": "52",
        **fields,
    }


def test_a_system_is_written_down_with_its_place_tank_and_use(office, organisation):
    answer = office.post(reverse("servicing:system_add"), typed())
    system = System.objects.get()
    assert answer.url == reverse("servicing:system", args=[system.public_id])
    assert system.organisation == system.premises.organisation == organisation
    assert system.tanks.get().working_volume_litres == 2800
    assert system.occupancies.get().persons == 4
    assert "withy hollow" in system.search_text
    assert Forecast.objects.get().due_on is not None


def test_a_system_is_written_down_at_a_place_already_known(office, organisation):
    place = make_premises(organisation)
    office.post(reverse("servicing:system_add_at", args=[place.public_id]), typed())
    assert System.objects.get().premises == place
    assert Premises.objects.count() == 1


def test_a_volume_is_taken_in_the_organisations_units(client):
    organisation = make_organisation(units="imperial_gallons")
    client.force_login(make_user(organisation))
    client.post(reverse("servicing:system_add"), typed(**{"tank-working_volume_litres": "1000"}))
    # Weights and Measures Act 1985, Schedule 1: 1,000 gallons are 4,546.09 L.
    assert Tank.objects.get().working_volume_litres == pytest.approx(4546.09)
    system = System.objects.get()
    form = client.get(reverse("servicing:tank_edit", args=[system.public_id, 1])).content.decode()
    assert 'value="1000"' in form


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"system-last_emptied_on": "2014-05-01"}, "before it was installed"),
        ({"system-last_emptied_on": "2026-11-26"}, "still to come"),
        ({"system-installed_on": "1066-10-14"}, "after 1900"),
        ({"system-installed_on": "31/02/2020"}, "Enter a valid date"),
        ({"system-reference": ""}, "This field is required"),
        ({"system-lid_latitude": "52.1"}, "both latitude and longitude"),
        ({"tank-working_volume_litres": "-3"}, "not the volume of a buried tank"),
        ({"tank-working_volume_litres": "28000000"}, "not the volume of a buried tank"),
        ({"tank-diameter_mm": "1.6"}, "Enter a whole number"),
        ({"tank-diameter_mm": "16"}, "Give millimetres"),
        ({"use-persons": "-1"}, "greater than or equal to 0"),
        ({"use-weeks_per_year": "60"}, "less than or equal to 53"),
        ({"place-name": ""}, "to know the place by"),
    ],
)
def test_what_cannot_be_is_told_at_the_field_and_nothing_typed_is_lost(office, fields, says):
    page = office.post(
        reverse("servicing:system_add"), typed(**{"system-lid_note": "Under the slab", **fields})
    ).content.decode()
    assert says in page
    assert 'class="error-list"' in page
    assert "Under the slab" in page
    assert not System.objects.exists()
    assert not Premises.objects.exists()


def test_each_line_of_the_error_list_leads_to_its_field(office):
    page = office.post(
        reverse("servicing:system_add"), typed(**{"system-reference": "", "use-persons": "-1"})
    ).content.decode()
    for field in ("id_system-reference", "id_use-persons"):
        assert f'href="#{field}"' in page
        assert f'id="{field}"' in page


def test_a_reference_is_used_once_in_an_organisation(office, organisation):
    make_system(organisation, reference="LD-1")
    page = office.post(reverse("servicing:system_add"), typed()).content.decode()
    assert "There is a system LD-1 already" in page
    make_system(reference="LD-2")
    office.post(reverse("servicing:system_add"), typed(**{"system-reference": "LD-2"}))
    assert System.objects.filter(organisation=organisation, reference="LD-2").exists()


def test_who_may_only_read_writes_nothing(organisation):
    system = make_system(organisation)
    rea = make_user(organisation, "reader")
    with pytest.raises(PermissionDenied):
        corrections.change_system(system=system, by=rea, facts={"notes": "x"}, today=TODAY)
    with pytest.raises(PermissionDenied):
        corrections.set_tank(system=system, tank=None, by=rea, facts={}, today=TODAY)
    with pytest.raises(PermissionDenied):
        corrections.override_ceiling(system=system, months=60, reason="x", by=rea, today=TODAY)
    assert system.tanks.count() == 1


def test_a_correction_leaves_the_fields_it_was_not_given(organisation, ines):
    system = make_system(organisation)
    System.objects.filter(pk=system.pk).update(notes="Written meanwhile")
    corrections.change_system(system=system, by=ines, facts={"bedrooms": 4}, today=TODAY)
    system.refresh_from_db()
    assert (system.bedrooms, system.notes) == (4, "Written meanwhile")


def test_more_people_bring_the_day_nearer(organisation, ines):
    system = make_system(
        organisation,
        last_emptied_on=dt.date(2025, 5, 1),
        ceiling_override_months=240,
        ceiling_override_reason="Measured every year",
        occupancy={"persons": 2},
    )
    facts = {"since": dt.date(2025, 6, 1), "use": "residence", "persons": 9, "weeks_per_year": 52}
    corrections.change_system(system=system, by=ines, facts={}, today=TODAY)
    before = Forecast.objects.get().due_on
    corrections.set_occupancy(system=system, by=ines, facts=facts, told_by="Omar", today=TODAY)
    assert Forecast.objects.get().due_on < before


def test_saying_the_same_use_again_corrects_it(organisation, ines):
    system = make_system(organisation, occupancy=None)
    facts = {"since": TODAY, "use": "residence", "persons": 3}
    corrections.set_occupancy(system=system, by=ines, facts=facts, told_by="Ines", today=TODAY)
    facts["persons"] = 5
    corrections.set_occupancy(system=system, by=ines, facts=facts, told_by="Ines", today=TODAY)
    assert [row.persons for row in Occupancy.objects.all()] == [5]


def test_an_interval_against_the_rule_needs_a_reason(office, organisation, ines):
    system = make_system(organisation)
    address = reverse("servicing:ceiling_edit", args=[system.public_id])
    page = office.post(address, {"months": "36"}).content.decode()
    assert "Say why" in page
    office.post(address, {"months": "36", "reason": "Levels measured yearly"})
    system.refresh_from_db()
    assert (system.ceiling_override_months, system.ceiling_override_by) == (36, ines)


def test_an_interval_of_its_own_can_be_taken_back(organisation, ines):
    system = make_system(organisation)
    corrections.override_ceiling(system=system, months=36, reason="x", by=ines, today=TODAY)
    corrections.override_ceiling(system=system, months=None, reason="", by=ines, today=TODAY)
    system.refresh_from_db()
    assert system.ceiling_override_months is None
    assert system.ceiling_override_by is None


def test_a_second_tank_stands_behind_the_first(office, organisation):
    system = make_system(organisation)
    fields = {"shape": "rectangular", "working_volume_litres": "1200"}
    office.post(reverse("servicing:tank_edit", args=[system.public_id, 0]), fields)
    assert list(system.tanks.values_list("position", flat=True)) == [1, 2]


def test_an_outlet_above_the_tank_is_refused(office, organisation):
    system = make_system(organisation)
    fields = {"shape": "horizontal_cylinder", "diameter_mm": "1200", "outlet_height_mm": "1360"}
    page = office.post(reverse("servicing:tank_edit", args=[system.public_id, 1]), fields)
    assert "above the top of the tank" in page.content.decode()


def test_chambers_of_one_system_have_different_names(office, organisation):
    system = make_system(organisation)
    address = reverse("servicing:chamber_add", args=[system.public_id])
    for _ in range(2):
        page = office.post(address, {"label": "IC1", "kind": "inspection"})
    assert "There is a chamber of this name here already" in page.content.decode()
    assert Chamber.objects.count() == 1


def test_a_chamber_of_another_system_is_not_reached_through_this_one(office, organisation):
    here, there = make_system(organisation), make_system(organisation)
    chamber = Chamber.objects.create(system=there, label="IC1")
    address = reverse("servicing:chamber_edit", args=[here.public_id, chamber.pk])
    assert office.get(address).status_code == 404


def test_the_drainage_field_is_written_down_once(office, organisation):
    system = make_system(organisation, discharge="drainage_field")
    address = reverse("servicing:field_edit", args=[system.public_id])
    office.post(address, {"area_m2": "22.5", "percolation_s_per_mm": "18"})
    office.post(address, {"area_m2": "24", "percolation_s_per_mm": "18"})
    system.refresh_from_db()
    assert system.drainage_field.area_m2 == 24


def test_the_history_shows_parts_beside_the_system(office, organisation, ines):
    system = make_system(organisation)
    tank = system.tanks.get()
    corrections.set_tank(
        system=system, tank=tank, by=ines, facts={"diameter_mm": 1600}, today=TODAY
    )
    page = office.get(reverse("servicing:system_history", args=[system.public_id]))
    assert "Diameter mm" in page.content.decode()


def test_guests_count_as_the_person_they_add_up_to(organisation, ines):
    """365 guest nights are one more person: common practice, no source."""
    due = []
    for use in ({"persons": 3, "guest_nights": 365}, {"persons": 4}, {"persons": 3}):
        system = make_system(organisation, last_emptied_on=dt.date(2025, 5, 1), occupancy=use)
        corrections.change_system(system=system, by=ines, facts={}, today=TODAY)
        due.append(Forecast.objects.get(system=system).removal_p50)
    assert abs((due[0] - due[1]).days) <= 1  # a year is a quarter of a day longer
    assert due[1] < due[2] - dt.timedelta(days=30)


def test_weeks_and_season_go_on_when_the_people_change(office, organisation):
    use = {"persons": 4, "weeks_per_year": 20, "season_starts_month": 4, "season_ends_month": 9}
    system = make_system(organisation, occupancy=use)
    address = reverse("servicing:occupancy_edit", args=[system.public_id])
    form = office.get(address).context["forms"][0]
    assert {name: form.initial[name] for name in use} == use
    half = {"use": "holiday_let", "persons": 5, "since": "25/11/2026", "weeks_per_year": 20}
    page = office.post(address, half | {"season_starts_month": 4})
    assert "Say both months" in page.content.decode()
    assert Occupancy.objects.count() == 1
