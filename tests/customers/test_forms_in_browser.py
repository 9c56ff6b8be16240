"""What only a browser can show: typed words survive a lost session, a click on the map counts."""

from __future__ import annotations

import os
import shutil

import pytest
from django.urls import reverse

from customers.models import Premises
from tests.make import make_organisation, make_user

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]

CHROMIUM = shutil.which("chromium")
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"]


@pytest.fixture
def page(live_server, monkeypatch):
    if CHROMIUM is None:
        if os.environ.get("CI") == "true":
            pytest.fail("Chromium is not installed, and CI needs it.")
        pytest.skip("Chromium is not installed.")
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only where there is a browser

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page(base_url=live_server.url)
        page.faults = []
        page.on("console", lambda said: said.type == "error" and page.faults.append(said.text))
        page.on("pageerror", lambda fault: page.faults.append(str(fault)))
        yield page
        browser.close()


def sign_in(page):
    page.fill("[name=username]", "ines@office.example")
    page.fill("[name=password]", "correct horse")
    page.click("form[data-sign-in] [type=submit]")
    page.wait_for_load_state()


@pytest.fixture
def form(page):
    make_user(make_organisation(), email="ines@office.example")
    page.goto(reverse("customers:premises_add"))
    sign_in(page)
    return page


def test_what_was_typed_survives_a_session_that_ran_out(form):
    form.fill("[name=name]", "Withy Hollow")
    form.fill("[name=access_note]", "Ring first")
    form.check("[name=dog]")
    form.context.clear_cookies(name="sessionid")
    form.click("form[data-keep] [type=submit]")
    sign_in(form)
    assert form.input_value("[name=access_note]") == "Ring first"
    assert "not saved yet" in form.inner_text("p.notice")
    form.click("form[data-keep] [type=submit]")
    form.wait_for_selector(".notice-success")
    place = Premises.objects.get()
    assert (place.name, place.access_note, place.dog) == ("Withy Hollow", "Ring first", True)
    assert form.faults == []


def test_a_form_left_by_choice_is_not_filled_in_again(form):
    form.fill("[name=name]", "Withy Hollow")
    form.click("form[data-keep] [type=submit]")
    form.wait_for_selector(".notice-success")
    form.goto(reverse("customers:premises_add"))
    assert form.input_value("[name=name]") == ""


def test_a_click_on_the_map_is_the_position(form):
    form.locator("[data-map=pick]").click(position={"x": 200, "y": 140})
    assert form.locator(".map-pin").count() == 1
    form.fill("[name=name]", "Withy Hollow")
    form.click("form[data-keep] [type=submit]")
    form.wait_for_selector(".notice-success")
    place = Premises.objects.get()
    assert 45 < place.latitude < 65
    assert place.location_source == Premises.LocationSource.MAP
    assert form.faults == []


def test_errors_take_the_focus_and_lead_to_their_field(form):
    form.click("form[data-keep] [type=submit]")
    form.wait_for_selector(".error-list")
    assert form.evaluate("document.activeElement.className") == "error-list"
    form.keyboard.press("Tab")
    form.keyboard.press("Enter")
    assert form.evaluate("document.activeElement.id") == "id_name"
