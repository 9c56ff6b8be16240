"""Bases, works, tankers and crews: added and changed. Rules of the job."""

import datetime as dt

import pytest
from django.urls import reverse

from scheduler.models import Base, Crew, Tanker, Works
from tests.make import (
    make_base,
    make_crew,
    make_organisation,
    make_tanker,
    make_user,
    make_works,
)

pytestmark = pytest.mark.django_db

BASE = {"name": "Yard", "latitude": "52.4", "longitude": "-2.9"}
WORKS = {
    **BASE,
    "name": "Nether works",
    "opens": "07:00",
    "closes": "17:00",
    "tipping_minutes": "20",
    "charge_pence_per_visit": "15",
    "charge_pence_per_m3": "9.44",
    "in_use": "on",
}
CREW = {"name": "Tess", "email": "tess@tankers.example", "in_use": "on"}


def tanker_facts(base, **more):
    return {
        "name": "Nine",
        "base": base.pk,
        "capacity_litres": "9000",
        "shift_starts": "07:00",
        "shift_ends": "16:30",
        "hours_regime": "assimilated",
        "max_duty_minutes": "570",
        "overtime_minutes": "0",
        "overtime_pence_per_hour": "0",
        "break_minutes": "45",
        "break_from": "11:00",
        "break_until": "14:00",
        "pence_per_km": "0.85",
        "pence_per_hour": "26",
        "fixed_pence_per_day": "90",
        "width_m": "2.4",
        "height_m": "3.4",
        "gross_tonnes": "18",
        "hose_m": "40",
        "in_use": "on",
        **more,
    }


@pytest.fixture
def office():
    return make_organisation()


@pytest.fixture
def desk(client, office):
    return signed_in(client, make_user(office, "planner"))


def signed_in(client, user):
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def new(kind):
    return reverse("scheduler:fleet_new", args=[kind])


def edit(kind, row):
    return reverse("scheduler:fleet_edit", args=[kind, row.public_id])


def test_a_whole_fleet_can_be_added_from_nothing(desk, office):
    for kind, facts in (("base", BASE), ("works", WORKS), ("crew", CREW)):
        assert desk.post(new(kind), facts).status_code == 302
    facts = tanker_facts(Base.objects.get(), crew=Crew.objects.get().pk)
    assert desk.post(new("tanker"), facts).status_code == 302
    assert Tanker.objects.get().organisation == office
    assert Tanker.objects.get().pence_per_km == 85
    assert Works.objects.get().charge_pence_per_m3 == 944
    page = desk.get(reverse("scheduler:fleet")).content.decode()
    assert all(name in page for name in ("Yard", "Nether works", "Tess", "Nine"))


def test_a_base_is_found_by_grid_reference(desk):
    """TG 51409 13177 is the Ordnance Survey's own worked example: 52.657979 N, 1.716052 E."""
    facts = {"name": "Yard", "where": "TG 51409 13177"}
    assert desk.post(new("base"), facts).status_code == 302
    base = Base.objects.get()
    assert (base.latitude, base.longitude) == pytest.approx((52.657979, 1.716052), abs=2e-4)


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"name": "Yard"}, "latitude"),
        ({"name": "Yard", "latitude": "52.4"}, "longitude"),
        ({"name": "Yard", "latitude": "0", "longitude": "0"}, "latitude"),
        ({"name": "Yard", "latitude": "95", "longitude": "0"}, "latitude"),
        ({"name": "Yard", "where": "nowhere at all"}, "where"),
        ({"name": "", "latitude": "52", "longitude": "-2"}, "name"),
    ],
)
def test_a_base_without_a_place_is_refused_at_the_field(desk, facts, field):
    answer = desk.post(new("base"), facts)
    assert answer.status_code == 422
    assert field in answer.context["forms"][0].errors
    assert not Base.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"closes": "06:00"}, "closes"),
        ({"closes": "07:10"}, "closes"),
        ({"closed_days": "2026-12-25, soon"}, "closed_days"),
        ({"charge_pence_per_m3": "-1"}, "charge_pence_per_m3"),
    ],
)
def test_a_works_that_cannot_be_is_refused_at_the_field(desk, wrong, field):
    answer = desk.post(new("works"), {**WORKS, **wrong})
    assert answer.status_code == 422
    assert field in answer.context["forms"][0].errors


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"shift_ends": "06:00"}, "shift_ends"),
        ({"break_until": "10:00"}, "break_until"),
        ({"capacity_litres": "0"}, "capacity_litres"),
        ({"width_m": "-2"}, "width_m"),
        ({"days_off": "31/02/2027"}, "days_off"),
    ],
)
def test_a_tanker_that_cannot_be_is_refused_at_the_field(desk, office, wrong, field):
    answer = desk.post(new("tanker"), tanker_facts(make_base(office), **wrong))
    assert answer.status_code == 422
    assert field in answer.context["forms"][0].errors


def test_closed_days_are_kept_as_a_list(desk, office):
    works = make_works(office, name="Nether works")
    days = "2026-12-26\n25/12/2026\n2026-12-25"
    desk.post(edit("works", works), {**WORKS, "closed_days": days})
    found = works.closures.order_by("day").values_list("day", flat=True)
    assert list(found) == [dt.date(2026, 12, 25), dt.date(2026, 12, 26)]
    assert "2026-12-25\n2026-12-26" in desk.get(edit("works", works)).content.decode()
    desk.post(edit("works", works), {**WORKS, "closed_days": ""})
    assert not works.closures.exists()


def test_two_of_one_name_are_refused(desk, office):
    make_base(office, name="Yard")
    answer = desk.post(new("base"), {**BASE, "name": "yard"})
    assert "There is one of that name already." in answer.content.decode()


def test_another_organisation_may_have_the_same_name(desk):
    make_base(make_organisation(), name="Yard")
    assert desk.post(new("base"), BASE).status_code == 302


def test_a_tanker_stands_at_an_own_base_with_an_own_crew(desk, office):
    elsewhere = make_organisation()
    facts = tanker_facts(make_base(elsewhere), crew=make_crew(elsewhere).pk)
    answer = desk.post(new("tanker"), facts)
    assert set(answer.context["forms"][0].errors) == {"base", "crew"}


def test_days_off_and_limits_can_be_changed(desk, office):
    tanker = make_tanker(office)
    facts = tanker_facts(tanker.base, name=tanker.name, width_m="2.2", days_off="2027-03-02")
    assert desk.post(edit("tanker", tanker), facts).status_code == 302
    tanker.refresh_from_db()
    assert tanker.width_m == 2.2
    assert [off.day for off in tanker.days_off.all()] == [dt.date(2027, 3, 2)]


def test_a_stranger_finds_no_fleet_of_others(client, office):
    stranger = signed_in(client, make_user(make_organisation()))
    assert stranger.get(edit("tanker", make_tanker(office))).status_code == 404
    assert stranger.post(edit("crew", make_crew(office)), CREW).status_code == 404


@pytest.mark.parametrize("role", ["reader", "crew"])
def test_reader_and_crew_may_not_change_the_fleet(client, office, role):
    member = signed_in(client, make_user(office, role))
    assert member.get(reverse("scheduler:fleet")).status_code == 200
    assert member.get(new("base")).status_code == 403
    assert member.post(edit("works", make_works(office)), WORKS).status_code == 403


def test_there_is_no_fifth_part_of_the_fleet(desk):
    assert desk.get(new("boat")).status_code == 404


def test_a_works_may_have_other_hours_on_weekdays(desk, office):
    typed = {**WORKS, "weekday_hours": "Fri 7:00-12:00\nSaturday closed"}
    assert desk.post(new("works"), typed).status_code == 302
    works = Works.objects.get()
    assert works.weekday_hours == {"4": ["07:00", "12:00"], "5": None}
    friday = dt.date(2027, 3, 5)
    assert works.hours_on(friday) == (dt.time(7), dt.time(12))
    assert works.hours_on(friday + dt.timedelta(days=1)) is None
    assert works.hours_words(friday) == "Open 07:00 to 12:00"
    assert works.hours_words(friday + dt.timedelta(days=1)) == "Shut on this day"
    assert works.hours_words(friday - dt.timedelta(days=1)) == "Open 07:00 to 17:00"
    assert "Fri 07:00-12:00" in desk.get(edit("works", works)).content.decode()
    assert "Fri 07:00 to 12:00" in desk.get(reverse("scheduler:fleet")).content.decode()
    assert works.other_hours == ["Fri 07:00 to 12:00", "Sat shut"]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("Fri all day", "is not like"),
        ("Fri 12:00-07:00", "closes before it opens"),
        ("Fri 25:00-26:00", "no clock shows"),
        ("Fri 07:00-07:10", "no time for a tip"),
    ],
)
def test_hours_that_cannot_be_are_refused_in_words(desk, typed, said):
    answer = desk.post(new("works"), {**WORKS, "weekday_hours": typed})
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert typed in answer.content.decode()
