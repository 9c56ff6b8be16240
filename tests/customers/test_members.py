"""Who may sign in for an organisation, and as what."""

import re

import pytest
from django.core import mail
from django.urls import reverse

from customers.models import Membership, User
from tests.make import make_organisation, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def office():
    return make_user(make_organisation())


@pytest.fixture
def own(office):
    return Membership.objects.get(user=office)


def add(client, **fields):
    given = {"name": "Tess Underhay", "email": "tess@tank.example", "role": "crew", **fields}
    return client.post(reverse("customers:member_add"), given, follow=True)


def test_a_new_member_gets_a_link_and_sets_a_password(client, office):
    client.force_login(office)
    add(client)
    link = re.search(r"https?://[^/]+(/\S+)", mail.outbox[0].body)[1]
    client.logout()
    form = client.get(link, follow=True).redirect_chain[-1][0]
    phrase = {"new_password1": "tide and time 9", "new_password2": "tide and time 9"}
    client.post(form, phrase)
    tess = User.objects.get(email="tess@tank.example")
    assert tess.check_password("tide and time 9")
    assert tess.memberships.get().role == "crew"


def test_somebody_of_another_firm_keeps_name_and_password(client, office):
    tess = make_user(make_organisation(), "crew", email="tess@tank.example", name="Tess U.")
    client.force_login(office)
    add(client)
    tess.refresh_from_db()
    assert tess.name == "Tess U."
    assert tess.check_password("correct horse")
    assert tess.memberships.count() == 2
    assert mail.outbox == []


def test_adding_twice_is_said_at_the_field(client, office):
    client.force_login(office)
    add(client)
    assert "is a member already" in add(client).content.decode()


def test_the_last_of_the_office_cannot_leave_or_step_down(client, office, own):
    client.force_login(office)
    removed = client.post(reverse("customers:member_remove", args=[own.pk]), follow=True)
    assert "Somebody must stay in the office" in removed.content.decode()
    changed = client.post(reverse("customers:member_edit", args=[own.pk]), {"role": "reader"})
    assert "Somebody must stay in the office" in changed.content.decode()
    own.refresh_from_db()
    assert own.role == "office"


def test_a_removed_member_finds_nothing_any_more(client, office, own):
    second = make_user(own.organisation)
    gone = Membership.objects.get(user=second)
    client.force_login(office)
    client.post(reverse("customers:member_remove", args=[gone.pk]))
    client.force_login(second)
    assert client.get(reverse("customers:members")).status_code == 404


@pytest.mark.parametrize("name", ["member_edit", "member_remove"])
def test_only_the_office_changes_members_and_only_its_own(client, own, name):
    address = reverse(f"customers:{name}", args=[own.pk])
    for role in ("planner", "crew", "reader"):
        client.force_login(make_user(own.organisation, role))
        assert client.post(address, {"role": "crew"}).status_code == 403
    client.force_login(make_user(make_organisation()))
    assert client.post(address, {"role": "crew"}).status_code == 404
