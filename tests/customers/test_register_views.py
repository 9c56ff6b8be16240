"""Pages of premises and people. Who may open which is told in tests/test_every_url.py."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from customers.form_pages import opened_texts
from customers.models import ContactPreference, Party, Person, Premises
from servicing.models import System
from servicing.registration import refresh_search_text
from tests.make import make_organisation, make_person, make_premises, make_system, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def organisation():
    return make_organisation()


@pytest.fixture
def office(client, organisation):
    client.force_login(make_user(organisation))
    return client


def premises_fields(**fields):
    return {"name": "Withy Hollow", "postcode": "zz1  1zz", **fields}


def test_a_place_is_written_down_as_typed(office, organisation):
    fields = premises_fields(
        gate_width_mm="3.1", weight_limit_kg="7.5", latitude="52.1", longitude="-2.9"
    )
    answer = office.post(reverse("customers:premises_add"), fields)
    place = Premises.objects.get()
    assert answer.url == reverse("customers:premises", args=[place.public_id])
    assert (place.organisation, place.postcode) == (organisation, "ZZ1 1ZZ")
    assert (place.gate_width_mm, place.weight_limit_kg) == (3100, 7500)
    assert place.location_source == Premises.LocationSource.MAP


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"name": "", "postcode": ""}, "Give a name, an address or a postcode"),
        ({"latitude": "52.1"}, "Give both latitude and longitude"),
        ({"latitude": "152", "longitude": "0"}, "less than or equal to 90"),
        ({"gate_width_mm": "3100"}, "less than or equal to 20"),
        ({"hose_run_m": "-4"}, "greater than or equal to 0"),
        ({"time_zone": "Europe/Nowhere"}, "This is not a time zone"),
    ],
)
def test_what_cannot_be_is_told_at_the_field_and_nothing_typed_is_lost(office, fields, says):
    typed = premises_fields(access_note="Ring first", **fields)
    page = office.post(reverse("customers:premises_add"), typed).content.decode()
    assert says in page
    assert 'class="error-list"' in page
    assert "Ring first" in page
    assert not Premises.objects.exists()


def test_only_what_changed_is_written(office, organisation):
    place = make_premises(organisation, name="Old", access_note="First gate")
    fields = {"name": "New", "postcode": place.postcode, "access_note": "First gate"}
    fields |= {"latitude": place.latitude, "longitude": place.longitude}
    office.post(reverse("customers:premises_edit", args=[place.public_id]), fields)
    first, before = place.history.all()[:2]
    assert [
        one.field for one in first.diff_against(before).changes if one.field != "changed_at"
    ] == ["name"]


def form_values(page):
    """What a browser would send back from the page as it stands."""
    form = page.context["forms"][0]
    sent = {
        name: form[name].value() for name in form.fields if form[name].value() not in (None, "")
    }
    return {**sent, "opened": opened_texts(form)}


def test_what_somebody_else_wrote_meanwhile_is_not_taken_back(office, organisation):
    place = make_premises(organisation, name="Old", access_note="Line one\nLine two", dog=True)
    address = reverse("customers:premises_edit", args=[place.public_id])
    sent = form_values(office.get(address))
    Premises.objects.update(access_note="New gate", hose_run_m=30)
    office.post(address, {**sent, "access_note": "Line one\r\nLine two", "name": "New"})
    place.refresh_from_db()
    assert (place.name, place.access_note, place.hose_run_m) == ("New", "New gate", 30)


def test_after_an_error_the_page_still_knows_what_it_said_first(office, organisation):
    place = make_premises(organisation, name="Old", access_note="First")
    address = reverse("customers:premises_edit", args=[place.public_id])
    sent = form_values(office.get(address))
    wrong = office.post(address, {**sent, "access_note": "Second", "latitude": "152"})
    again = {**sent, "access_note": "Second", "opened": opened_texts(wrong.context["forms"][0])}
    office.post(address, again)
    place.refresh_from_db()
    assert place.access_note == "Second"


@pytest.mark.parametrize("opened", ["", "{", "[]", "7"])
def test_a_form_without_its_first_texts_is_measured_against_what_is_stored(
    office, organisation, opened
):
    place = make_premises(organisation, name="Old")
    fields = {"name": "New", "postcode": place.postcode, "opened": opened}
    office.post(reverse("customers:premises_edit", args=[place.public_id]), fields)
    place.refresh_from_db()
    assert place.name == "New"


def test_a_field_can_be_emptied(office, organisation):
    place = make_premises(organisation, gate_width_mm=3100, dog=True)
    address = reverse("customers:premises_edit", args=[place.public_id])
    sent = form_values(office.get(address))
    del sent["dog"]
    office.post(address, {**sent, "gate_width_mm": ""})
    place.refresh_from_db()
    assert (place.gate_width_mm, place.dog) == (None, False)


def test_a_renamed_place_is_found_by_its_new_name(office, organisation):
    system = make_system(organisation, premises=make_premises(organisation, name="Old"))
    refresh_search_text([system])
    fields = {"name": "Cinder Fold", "postcode": system.premises.postcode}
    office.post(reverse("customers:premises_edit", args=[system.premises.public_id]), fields)
    page = office.get(reverse("servicing:systems"), {"words": "cinder"}).content.decode()
    assert system.reference in page


def test_a_new_owner_is_found_by_name(office, organisation):
    system = make_system(organisation)
    fields = {"role": "owner", "name": "Omar Fell", "email": "omar@home.example"}
    office.post(reverse("customers:party_add", args=[system.premises.public_id]), fields)
    assert Party.objects.get().person.name == "Omar Fell"
    assert "omar fell" in System.objects.get().search_text


def test_somebody_must_be_named(office, organisation):
    place = make_premises(organisation)
    answer = office.post(reverse("customers:party_add", args=[place.public_id]), {"role": "owner"})
    assert "give the name of somebody new" in answer.content.decode()
    assert not Person.objects.exists()


def test_an_owner_of_another_organisation_cannot_be_chosen(office, organisation):
    theirs = make_person(make_organisation())
    place = make_premises(organisation)
    fields = {"role": "owner", "person": theirs.pk}
    office.post(reverse("customers:party_add", args=[place.public_id]), fields)
    assert not Party.objects.exists()


def test_who_has_left_stays_in_the_history(office, organisation):
    party = Party.objects.create(
        premises=make_premises(organisation),
        person=make_person(organisation),
        role="owner",
        since=dt.date(2020, 1, 1),
    )
    address = reverse("customers:party_end", args=[party.premises.public_id, party.pk])
    early = office.post(address, {"until": "2019-01-01"}).content.decode()
    assert "before it began" in early
    office.post(address, {"until": "2024-05-01"})
    party.refresh_from_db()
    assert party.until == dt.date(2024, 5, 1)


def test_consent_is_only_ever_added_to(office, organisation):
    omar = make_person(organisation)
    address = reverse("customers:preference_add", args=[omar.public_id])
    said = {"channel": "email", "message_class": "marketing", "how": "By telephone"}
    office.post(address, {**said, "allowed": "yes"})
    office.post(address, {**said, "allowed": "no"})
    assert list(ContactPreference.objects.values_list("allowed", flat=True)) == [False, True]
    page = office.get(reverse("customers:person", args=[omar.public_id])).content.decode()
    assert "Refused" in page


def test_the_gate_code_is_for_the_office_only(client, organisation):
    place = make_premises(organisation, gate_code="C4711")
    address = reverse("customers:premises", args=[place.public_id])
    client.force_login(make_user(organisation, "reader"))
    assert "C4711" not in client.get(address).content.decode()
    client.force_login(make_user(organisation))
    assert "C4711" in client.get(address).content.decode()


def test_the_history_names_who_changed_what(office, organisation):
    place = make_premises(organisation, name="Old")
    fields = {"name": "New", "postcode": place.postcode}
    office.post(reverse("customers:premises_edit", args=[place.public_id]), fields)
    page = office.get(
        reverse("customers:premises_history", args=[place.public_id])
    ).content.decode()
    assert "<del>Old</del>" in page
    assert "<ins>New</ins>" in page


@pytest.mark.parametrize("name", ["premises_list", "people", "agreements"])
def test_lists_take_as_many_queries_for_many_rows_as_for_few(
    office, organisation, name, django_assert_num_queries, django_assert_max_num_queries
):
    def fill(count):
        for _ in range(count):
            place, person = make_premises(organisation), make_person(organisation)
            Party.objects.create(premises=place, person=person, role="owner")

    fill(3)
    with django_assert_max_num_queries(12) as few:
        office.get(reverse(f"customers:{name}"))
    fill(60)
    with django_assert_num_queries(len(few)):
        office.get(reverse(f"customers:{name}"))


def test_words_find_premises_by_name_and_postcode(office, organisation):
    make_premises(organisation, name="Heron Stoop", postcode="ZZ9 9QX")
    make_premises(organisation, name="Rook Hall", postcode="ZZ1 1AA")
    page = office.get(reverse("customers:premises_list"), {"words": "heron zz9"}).content.decode()
    assert "Heron Stoop" in page
    assert "Rook Hall" not in page
