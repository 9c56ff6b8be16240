"""Setting up an organisation from the command line."""

import io

import pytest
from django.core.management import CommandError, call_command

from customers.models import Membership, Organisation, User

pytestmark = pytest.mark.django_db


def add(monkeypatch, phrase="a long enough phrase", **options):
    monkeypatch.setattr("sys.stdin", io.StringIO(phrase + "\n"))
    said = io.StringIO()
    options = {"email": "first@office.example", "password_stdin": True, **options}
    call_command("add_organisation", "Marl Drains", stdout=said, **options)
    return said.getvalue()


def test_the_first_member_may_sign_in(monkeypatch):
    assert "may sign in" in add(monkeypatch)
    assert User.objects.get().check_password("a long enough phrase")
    assert Membership.objects.get().role == Membership.Role.OFFICE


def test_an_unknown_profile_is_named_with_those_there_are(monkeypatch):
    with pytest.raises(CommandError, match="ireland"):
        add(monkeypatch, profile="atlantis")


def test_a_weak_password_sets_nothing_up(monkeypatch):
    with pytest.raises(CommandError, match="common"):
        add(monkeypatch, phrase="password")
    assert not Organisation.objects.exists()
