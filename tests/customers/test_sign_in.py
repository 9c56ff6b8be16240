"""Getting in, being kept out, and setting a new password by mail."""

from __future__ import annotations

import re

import pytest
from django.core import mail
from django.urls import reverse

from tests.make import make_organisation, make_user

pytestmark = pytest.mark.django_db

PASSWORD = "correct horse"


@pytest.fixture
def ines():
    return make_user(make_organisation(), email="ines@office.example", name="Ines")


def sign_in(client, password=PASSWORD, **more):
    fields = {"username": "ines@office.example", "password": password, **more}
    return client.post(reverse("login"), fields)


def test_sign_in_leads_to_the_page_asked_for(client, ines):
    asked = client.get(reverse("servicing:systems"))
    assert asked.url == f"{reverse('login')}?next={reverse('servicing:systems')}"
    answer = sign_in(client, next=reverse("servicing:systems"))
    assert answer.url == reverse("servicing:systems")


def test_sign_in_never_leads_to_another_site(client, ines):
    answer = sign_in(client, next="https://elsewhere.example/")
    assert answer.status_code == 302
    assert "elsewhere" not in answer.url


def test_a_wrong_password_is_told_at_the_top_and_keeps_the_name(client, ines):
    page = sign_in(client, password="wrong").content.decode()
    assert 'class="error-list"' in page
    assert 'value="ines@office.example"' in page


def test_five_wrong_passwords_close_the_door_even_to_the_right_one(client, ines):
    for _ in range(5):
        answer = sign_in(client, password="wrong")
    assert answer.status_code == 429
    assert "closed for a while" in answer.content.decode()
    assert sign_in(client).status_code == 429


def test_the_lock_keeps_nobody_else_out(client, ines):
    make_user(make_organisation(), email="tess@tankers.example", name="Tess")
    for _ in range(5):
        sign_in(client, password="wrong")
    tess = {"username": "tess@tankers.example", "password": PASSWORD}
    assert client.post(reverse("login"), tess).status_code == 302


def test_a_new_password_is_set_by_mail(client, ines):
    client.post(reverse("password_reset"), {"email": "ines@office.example"})
    (sent,) = mail.outbox
    assert sent.subject == "Set a new Ebbmark password"
    link = re.search(r"http://testserver(\S+)", sent.body)
    form = client.get(link.group(1), follow=True)
    new = {"new_password1": "buried slow river", "new_password2": "buried slow river"}
    client.post(form.request["PATH_INFO"], new)
    assert sign_in(client, password="buried slow river").status_code == 302


def test_a_link_from_the_mail_works_once(client, ines):
    client.post(reverse("password_reset"), {"email": "ines@office.example"})
    link = re.search(r"http://testserver(\S+)", mail.outbox[0].body).group(1)
    form = client.get(link, follow=True)
    new = {"new_password1": "buried slow river", "new_password2": "buried slow river"}
    client.post(form.request["PATH_INFO"], new)
    client.logout()
    assert "This link no longer works" in client.get(link, follow=True).content.decode()


def test_an_unknown_address_is_answered_just_the_same(client, ines):
    known = client.post(reverse("password_reset"), {"email": "ines@office.example"})
    unknown = client.post(reverse("password_reset"), {"email": "nobody@office.example"})
    assert (known.status_code, known.url) == (unknown.status_code, unknown.url)
    assert len(mail.outbox) == 1


def test_signing_out_is_a_button_not_a_link(client, ines):
    client.force_login(ines)
    assert client.get(reverse("logout")).status_code == 405
    client.post(reverse("logout"))
    assert client.get(reverse("servicing:systems")).status_code == 302


def test_pages_carry_a_strict_policy_and_no_inline_script(client):
    answer = client.get(reverse("login"))
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy
    assert not re.search(r"<script(?![^>]*(src=|application/json))", answer.content.decode())
