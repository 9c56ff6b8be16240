"""Who changed what and when, in plain words."""

import datetime as dt

import pytest
from django.urls import reverse

from customers.membership import change_role
from customers.models import Membership, Party
from customers.organisation_history import Asked, history_page, kinds_with_history
from customers.record_history import SECRET
from tests.make import (
    make_job,
    make_organisation,
    make_person,
    make_premises,
    make_system,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def firm():
    return make_organisation()


@pytest.fixture
def ines(firm):
    return make_user(firm, name="Ines")


def lines(organisation, **asked):
    return [
        (change.subject, change.kind, [(f.label, f.before, f.after) for f in change.fields])
        for change in history_page(organisation, Asked(**asked)).changes
    ]


def test_a_change_is_told_in_words_with_old_and_new(firm):
    place = make_premises(firm, name="Mill House", surface="hard")
    place.surface, place.dog = "grass", True
    place.save()
    told = lines(firm, kind="premises")[0]
    assert told[:2] == ("premises", "Changed")
    assert set(told[2]) == {("Surface", "Hard standing", "Grass"), ("Dog", "no", "yes")}


def test_another_record_is_named_and_not_numbered(firm):
    system = make_system(firm)
    system.premises = make_premises(firm, name="New Barn")
    system.save()
    (label, _, after) = lines(firm, kind="system")[0][2][0]
    assert (label, after) == ("Premises", "New Barn")


def test_who_did_it_or_that_no_one_was_signed_in(client, firm, ines):
    place = make_premises(firm, name="Old")
    client.force_login(ines)
    page = reverse("customers:premises_edit", args=[place.public_id])
    client.post(page, {"name": "New", "address": "", "postcode": "ZZ1 1ZZ"})
    by = [change.by for change in history_page(firm, Asked(kind="premises")).changes]
    assert by == ["Ines", "no one signed in"]
    assert len(lines(firm, kind="premises", by=str(ines.pk))) == 1
    assert len(lines(firm, kind="premises", by="nobody")) == 1


def test_everything_that_matters_keeps_its_history():
    wanted = {"premises", "person", "party", "system", "tank", "job", "agreement", "visit", "sale"}
    wanted |= {"organisation", "membership", "ownerlink", "ladderstep", "tellingrules", "round"}
    assert wanted <= set(kinds_with_history())


def test_no_code_of_a_gate_or_safe_is_kept_or_shown(firm):
    place = make_premises(firm, gate_code="4711#")
    place.gate_code = "0815#"
    place.save()
    assert "4711" not in str(lines(firm))
    kept = {
        field.name
        for model in kinds_with_history().values()
        for field in model.history.model._meta.concrete_fields
    }
    assert not {name for name in kept if SECRET.search(name)} - {"signature"}


def test_a_role_that_changes_is_seen(firm, ines):
    other = Membership.objects.get(user=make_user(firm, "crew"))
    change_role(membership=other, role="planner", by=ines)
    assert lines(firm, kind="membership")[0][2] == [("Role", "Crew", "Planner")]


def test_one_firm_does_not_see_what_another_changed(firm):
    make_premises(make_organisation(), name="Elsewhere")
    assert lines(firm, kind="premises") == []


def test_days_narrow_it_and_pages_follow_one_another(firm, time_machine):
    for number in range(70):
        time_machine.move_to(dt.datetime(2026, 1, 1, number // 60, number % 60, tzinfo=dt.UTC))
        make_premises(firm)
    first = history_page(firm, Asked())
    second = history_page(firm, Asked(before=first.older))
    assert (len(first.changes), second.older) == (50, None)
    keys = [(c.subject, c.row.history_id) for page in (first, second) for c in page.changes]
    assert len(set(keys)) == len(keys)
    assert lines(firm, kind="premises", since=dt.date(2026, 1, 2)) == []


def test_the_page_shows_names_filters_and_links(client, firm, ines):
    person = make_person(firm, name="Omar <b>")
    Party.objects.create(premises=make_premises(firm), person=person, role="owner")
    client.force_login(ines)
    page = client.get(reverse("scheduler:history"), {"kind": "person"}).content.decode()
    assert "Omar &lt;b&gt;" in page
    assert reverse("customers:person", args=[person.public_id]) in page
    garbled = client.get(reverse("scheduler:history"), {"before": "x", "since": "never"})
    assert garbled.status_code == 200


def test_one_thing_is_shown_with_its_parts(client, firm, ines):
    job = make_job(make_system(firm), due_on=dt.date(2026, 5, 1))
    job.due_on = dt.date(2026, 6, 1)
    job.save()
    client.force_login(ines)
    page = client.get(reverse("scheduler:thing_history", args=["job", job.public_id]))
    assert "1 May 2026" in page.content.decode()
    assert client.get(f"/organisation/changes/nothing/{job.public_id}/").status_code == 404
