"""Pages of systems and the map of lids. Who may open which is told in tests/test_every_url.py."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from customers.models import AftercarePlan, Agreement, Premises
from servicing.forecasts import refresh_forecast, refresh_forecasts
from servicing.models import Chamber, Dip, Emptying, Forecast, System, Visit
from servicing.registration import refresh_search_text
from tests.make import make_organisation, make_premises, make_system, make_user

pytestmark = pytest.mark.django_db

TODAY = dt.date(2026, 11, 25)
ROUND_TANK = {
    "shape": "horizontal_cylinder",
    "diameter_mm": 1600,
    "length_mm": 1600,
    "outlet_height_mm": 1360,
}


@pytest.fixture(autouse=True)
def now(time_machine):
    time_machine.move_to(dt.datetime(2026, 11, 25, 10, tzinfo=dt.UTC), tick=False)


@pytest.fixture
def organisation():
    return make_organisation()


@pytest.fixture
def office(client, organisation):
    client.force_login(make_user(organisation))
    return client


def due(system: System, on: dt.date | None) -> System:
    Forecast.objects.create(
        system=system,
        organisation=system.organisation,
        state="ready",
        made_on=TODAY,
        model_version="t",
        due_on=on,
        refreshed_at=timezone.now(),
    )
    return system


def listed(client, **asked) -> list[str]:
    page = client.get(reverse("servicing:systems"), asked).content.decode()
    return re.findall(r'systems/[0-9a-f-]{36}/">([^<]+)</a>', page)


def test_the_register_lists_by_reference(office, organisation):
    for reference in ("B-2", "A-9", "A-10"):
        make_system(organisation, reference=reference)
    assert listed(office) == ["A-10", "A-9", "B-2"]


def test_words_look_through_name_postcode_and_reference(office, organisation):
    for name, postcode in (("Heron Stoop", "ZZ9 9QX"), ("Rook Hall", "ZZ1 1AA")):
        place = make_premises(organisation, name=name, postcode=postcode)
        refresh_search_text([make_system(organisation, premises=place, reference=f"R {name}")])
    assert listed(office, words="heron") == ["R Heron Stoop"]
    assert listed(office, words="zz9 9qx") == ["R Heron Stoop"]
    assert listed(office, words="ZZ11AA") == ["R Rook Hall"]
    assert listed(office, words="heron zz1") == []


def test_what_is_due_is_told_from_what_is_not(office, organisation):
    for reference, days in (("over", -1), ("soon", 20), ("later", 80), ("far", 700)):
        due(make_system(organisation, reference=reference), TODAY + dt.timedelta(days=days))
    due(make_system(organisation, reference="unknown"), None)
    assert listed(office, due="over") == ["over"]
    assert listed(office, due="30") == ["over", "soon"]
    assert listed(office, due="90") == ["later", "over", "soon"]
    assert listed(office, due="none") == ["unknown"]
    assert listed(office, sort="due") == ["over", "soon", "later", "far"]


def test_an_agreement_counts_only_while_it_runs(office, organisation):
    plan = AftercarePlan.objects.create(organisation=organisation, name="P", price_pence=1)
    for reference, ends in (("runs", TODAY), ("ran out", TODAY - dt.timedelta(days=1))):
        Agreement.objects.create(
            organisation=organisation,
            premises=make_system(organisation, reference=reference).premises,
            plan=plan,
            starts_on=dt.date(2026, 1, 1),
            ends_on=ends,
            price_pence=1,
        )
    assert listed(office, agreement="with") == ["runs"]
    assert listed(office, agreement="without") == ["ran out"]


def test_kinds_and_systems_out_of_use_are_told_apart(office, organisation):
    make_system(organisation, reference="tank")
    make_system(organisation, reference="plant", kind="package_plant")
    make_system(organisation, reference="old", retired_on=dt.date(2020, 1, 1))
    assert listed(office, kind="package_plant") == ["plant"]
    assert listed(office) == ["plant", "tank"]
    assert listed(office, retired="yes") == ["old", "plant", "tank"]


@pytest.mark.parametrize("asked", [{"due": "x"}, {"kind": "x"}, {"sort": "x"}, {"after": "~"}])
def test_an_unknown_filter_filters_nothing(office, organisation, asked):
    make_system(organisation, reference="A")
    assert listed(office, **asked) == ["A"]


def test_another_organisations_systems_are_never_listed(office):
    theirs = make_system(reference="THEIRS")
    assert listed(office) == []
    assert office.get(reverse("servicing:system", args=[theirs.public_id])).status_code == 404


def test_the_list_takes_as_many_queries_for_many_rows_as_for_few(
    office, organisation, django_assert_num_queries, django_assert_max_num_queries
):
    for days in range(3):
        due(make_system(organisation), TODAY + dt.timedelta(days=days))
    asked = {"words": "s", "due": "365", "agreement": "without", "sort": "due"}
    refresh_search_text(System.objects.all())
    with django_assert_max_num_queries(10) as few:
        office.get(reverse("servicing:systems"), asked)
    for days in range(60):
        due(make_system(organisation), TODAY + dt.timedelta(days=days))
    refresh_search_text(System.objects.all())
    with django_assert_num_queries(len(few)):
        office.get(reverse("servicing:systems"), asked)


def dipped(organisation) -> System:
    system = make_system(
        organisation,
        installed_on=dt.date(2020, 3, 1),
        last_emptied_on=dt.date(2024, 5, 1),
        tank=ROUND_TANK,
    )
    visit = Visit.objects.create(
        organisation=organisation, system=system, visited_on=dt.date(2025, 6, 1), lid_back_on=True
    )
    Dip.objects.create(visit=visit, tank=system.tanks.get(), sludge_mm=300, scum_mm=60)
    refresh_forecast(system, today=TODAY)
    return system


def test_a_system_says_when_why_and_by_which_rule(office, organisation):
    system = dipped(organisation)
    page = office.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    forecast = Forecast.objects.get(system=system)
    assert f"<strong>{forecast.due_on:%-d %b %Y}</strong>" in page
    assert f"{forecast.removal_p10:%-d %b %Y}" in page
    assert "set by: " in page
    assert all(line.split(":")[0] in page for line in forecast.reasons)
    assert page.count('role="img"') == 3


def test_figures_of_the_chart_stand_in_a_table_too(office, organisation):
    system = dipped(organisation)
    page = office.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    table = page[page.index("The same as a table") :]
    last = Forecast.objects.get(system=system).curve[-1]
    assert f"{last[2]:,.0f}\N{NO-BREAK SPACE}L" in table
    assert "1 Jun 2025" in table


def test_volumes_come_in_the_organisations_units(client):
    organisation = make_organisation(units="imperial_gallons")
    client.force_login(make_user(organisation))
    system = dipped(organisation)
    page = client.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    # Weights and Measures Act 1985, Schedule 1: a gallon is 4.54609 L; 2,800 L are 615.9.
    assert "616\N{NO-BREAK SPACE}gal" in page
    assert "616 gal" in page  # the pictures


def test_a_system_of_which_nothing_is_known_still_has_its_page(office, organisation):
    system = make_system(organisation, tank=None, occupancy=None)
    address = reverse("servicing:system", args=[system.public_id])
    assert "Not worked out yet" in office.get(address).content.decode()
    refresh_forecast(system, today=TODAY)
    page = office.get(address).content.decode()
    assert "What was assumed because it is not known" in page or "not enough to say when" in page


@pytest.mark.parametrize("kind", System.Kind.values)
def test_every_kind_of_system_has_its_page(office, organisation, kind):
    system = make_system(organisation, kind=kind)
    refresh_forecasts(System.objects.all(), today=TODAY)
    page = office.get(reverse("servicing:system", args=[system.public_id]))
    assert page.status_code == 200
    assert ("Next emptying" in page.content.decode()) == system.holds_sludge


def test_visits_are_told_with_what_was_found(office, organisation):
    system = dipped(organisation)
    visit = Visit.objects.create(
        organisation=organisation, system=system, visited_on=dt.date(2024, 5, 1), lid_back_on=True
    )
    Emptying.objects.create(visit=visit, litres_removed=2900, tipped_at="Otterbank works")
    page = office.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    assert "sludge 300\N{NO-BREAK SPACE}mm, scum 60\N{NO-BREAK SPACE}mm" in page
    assert "2,900\N{NO-BREAK SPACE}L taken out, tipped at Otterbank works" in page


def test_a_reader_is_offered_nothing_to_change(client, organisation):
    system = dipped(organisation)
    Chamber.objects.create(system=system, label="IC1")
    client.force_login(make_user(organisation, "reader"))
    page = client.get(reverse("servicing:system", args=[system.public_id])).content.decode()
    assert "/change/" not in page
    assert "/chambers/" not in page
    assert "Record another" not in page


def lids(client, **asked):
    return client.get(reverse("servicing:lids"), asked).json()


def test_lids_are_those_within_the_bounds(office, organisation):
    inside = make_system(
        organisation, premises=make_premises(organisation, latitude=52.0, longitude=-3.0)
    )
    make_system(organisation, premises=make_premises(organisation, latitude=54.0, longitude=-3.0))
    found = lids(office, bounds="-3.1,51.9,-2.9,52.1")
    assert [lid["reference"] for lid in found["lids"]] == [inside.reference]
    assert found["more"] is False


def test_a_lid_that_was_measured_counts_before_its_place(office, organisation):
    place = make_premises(organisation, latitude=52.0, longitude=-3.0)
    make_system(organisation, premises=place, lid_latitude=52.001, lid_longitude=-3.001)
    assert lids(office)["lids"][0]["at"] == [52.001, -3.001]


def test_lids_say_how_near_their_day_is(office, organisation):
    for days in (-1, 10, 100, None):
        due(make_system(organisation), None if days is None else TODAY + dt.timedelta(days=days))
    looks = [lid["look"] for lid in lids(office)["lids"]]
    assert sorted(looks) == ["calm", "over", "soon", "unknown"]


@pytest.mark.parametrize("bounds", ["", "1,2,3", "a,b,c,d", "5,5,1,1"])
def test_garbled_bounds_are_refused(office, bounds):
    assert office.get(reverse("servicing:lids"), {"bounds": bounds}).status_code == 400


def test_places_without_a_position_are_not_on_the_map(office, organisation):
    place = make_premises(organisation, latitude=None, longitude=None)
    make_system(organisation, premises=place)
    assert lids(office)["lids"] == []
    assert "No system has a position yet" in office.get(reverse("servicing:map")).content.decode()


def test_a_position_from_a_postcode_is_called_approximate(office, organisation):
    make_premises(organisation, location_source=Premises.LocationSource.POSTCODE)
    assert "Approximate" in office.get(reverse("customers:premises_list")).content.decode()
