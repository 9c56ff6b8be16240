"""What a crew has typed stays on the phone until it is recorded. In a real browser."""

import datetime as dt
import shutil

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import sync_playwright

from scheduler.environment import env
from scheduler.models import Job
from servicing.models import Visit
from tests.make import make_job, make_system, make_user

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
FLAGS += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]

# Keeping waits for a pause in typing. A string for wait_for_function would need eval, which the
# content security policy forbids.
UNTIL = """word => new Promise(done => {
    const look = () => JSON.stringify(localStorage).includes(word) ? done() : setTimeout(look, 20);
    look();
})"""


@pytest.fixture
def phone(monkeypatch):
    """A browser window of a phone's size. Without Chromium: skipped, or failed where CI says so."""
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    path = shutil.which("chromium")
    if path is None:
        give_up = pytest.fail if env.bool("CI", default=False) else pytest.skip
        give_up("Chromium is not installed")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=FLAGS)
        yield browser.new_context(viewport={"width": 390, "height": 844})
        browser.close()


@pytest.fixture
def tess(transactional_db):
    return make_user(make_system().organisation, "crew", name="Tess")


@pytest.fixture
def sheet_address(live_server, tess):
    organisation = tess.memberships.get().organisation
    job = make_job(make_system(organisation), due_on=timezone.now().date())
    return live_server.url + reverse("scheduler:job_sheet", args=[job.public_id])


def sign_in(phone, client, user, live_server):
    client.force_login(user)
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    cookie = {"name": settings.SESSION_COOKIE_NAME, "value": value, "url": live_server.url}
    phone.add_cookies([cookie])


def fill(page):
    page.check("#id_cautions_read")
    page.check("input[name=ground][value=dry]")
    page.check("input[name=removed][value=all]")
    page.fill("[name=volume_removed]", "2650")
    page.fill("[name=who_was_present]", "Omar")
    page.check("#id_lid_back_on")
    page.click("summary:has-text('No camera works')")
    page.fill("[name=no_photo_because]", "The camera is broken")
    page.check("input[name=signed_how][value=nobody]")
    page.evaluate(UNTIL, "lid_back_on")


def key_of(page):
    return page.input_value("form[data-draft] [name=sheet_key]")


def test_a_dead_page_loses_nothing(phone, client, tess, live_server, sheet_address):
    sign_in(phone, client, tess, live_server)
    page = phone.new_page()
    page.goto(sheet_address)
    assert not page.is_visible("[data-draft-notice]")
    fill(page)
    key = key_of(page)
    page.close()
    again = phone.new_page()
    again.goto(sheet_address)
    assert again.is_visible("[data-draft-notice]")
    assert again.input_value("[name=volume_removed]") == "2650"
    assert again.is_checked("input[name=ground][value=dry]")
    assert key_of(again) == key


def test_a_session_that_ran_out_loses_nothing(phone, client, tess, live_server, sheet_address):
    sign_in(phone, client, tess, live_server)
    page = phone.new_page()
    page.goto(sheet_address)
    fill(page)
    phone.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    page.click("button:has-text('Record the visit')")
    page.click("a:has-text('Sign in to send')")
    page.fill("[name=username]", tess.email)
    page.fill("[name=password]", "correct horse")
    page.click("button:has-text('Sign in')")
    page.wait_for_url("**/recorded/")
    assert Visit.objects.get().who_was_present == "Omar"
    assert Visit.objects.get().emptying.litres_removed == 2650


def test_a_recorded_sheet_leaves_nothing_on_the_phone(
    phone, client, tess, live_server, sheet_address
):
    sign_in(phone, client, tess, live_server)
    page = phone.new_page()
    page.goto(sheet_address)
    fill(page)
    page.click("button:has-text('Record the visit')")
    page.wait_for_url("**/recorded/")
    assert page.evaluate("Object.keys(localStorage)") == []
    assert Job.objects.get().state == Job.State.DONE


def test_starting_afresh_forgets_the_draft(phone, client, tess, live_server, sheet_address):
    sign_in(phone, client, tess, live_server)
    page = phone.new_page()
    page.goto(sheet_address)
    fill(page)
    page.reload()
    page.click("[data-draft-forget]")
    assert page.input_value("[name=who_was_present]") == ""
    assert page.evaluate("Object.keys(localStorage)") == []


def test_a_draft_a_fortnight_old_is_forgotten(phone, client, tess, live_server, sheet_address):
    sign_in(phone, client, tess, live_server)
    page = phone.new_page()
    page.goto(sheet_address)
    old = (timezone.now() - dt.timedelta(days=14)).timestamp() * 1000
    page.evaluate("at => localStorage.setItem('ebbmark-sheet-x', JSON.stringify({at}))", old)
    page.reload()
    assert page.evaluate("Object.keys(localStorage)") == []
