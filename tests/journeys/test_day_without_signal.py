"""A crew's day with the network really off after the morning, in a browser of a telephone's size.

Tess drives, Ines keeps the office, Omar signs. What the office sees in the evening is compared
with what was entered; a photograph is looked into with Pillow for anything but the picture.
"""

from __future__ import annotations

import datetime as dt

import pytest
from django.conf import settings as django_settings
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from scheduler import booking
from scheduler.models import Delivery, Job
from servicing.models import Forecast, Visit, VisitPhoto
from tests.journeys.browser import PATIENCE_MS, PHONE, let_in, open_browser
from tests.journeys.crew_day import (
    add_photo,
    all_sent,
    draw_name,
    fill_sheet,
    kept,
    make_day,
    photo,
    record,
    sheet_path,
    take_along,
    without_camera,
)
from tests.make import make_user

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


@pytest.fixture
def day(transactional_db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    return make_day(timezone.now().date())


@pytest.fixture
def phone(day, live_server, monkeypatch):
    """Tess's telephone, signed in, the round taken along."""
    with open_browser(monkeypatch) as browser:
        context = browser.new_context(base_url=live_server.url, viewport=PHONE, locale="en-GB")
        context.set_default_timeout(PATIENCE_MS * 3)
        let_in(context, day[1], live_server.url)
        take_along(context.new_page())
        yield context


@pytest.fixture
def page(phone):
    return phone.pages[0]


def press_there(page, place):
    stop = page.locator(".round-stop", has_text=place)
    stop.get_by_role("button", name="I am there").click()
    page.wait_for_url("**/sheet/")


def do_first(page):
    """A whole sheet with photographs and a drawn signature; the page is left and opened again."""
    press_there(page, "Alder Barn")
    page.locator("li", has_text="from A, the north corner of the house").wait_for()
    fill_sheet(page)
    add_photo(page, "lid_before")
    page.reload()
    assert page.input_value("[name=volume_removed]") == "2700"
    page.locator("[data-photo=lid_before] img").wait_for()
    add_photo(page, "lid_back")
    draw_name(page)
    record(page)
    kept(page)


def leave_second(page):
    """The gate is locked."""
    page.goto(reverse("scheduler:today"))
    press_there(page, "Beck Cottage")
    page.click("summary:has-text('It could not be done')")
    page.select_option("[name=left-undone-abandoned_because]", "locked_gate")
    page.check("[name=left-undone-cover_lifted][value=no]")
    page.click("button:has-text('Record that it was not done')")
    kept(page)


def do_third(page):
    page.goto(reverse("scheduler:today"))
    stop = page.locator(".round-stop", has_text="Coppice End")
    stop.get_by_text("Note to the office").click()
    stop.get_by_label("What the office should know").fill("The lane is flooded by the bridge")
    stop.get_by_role("button", name="Note it").click()
    press_there(page, "Coppice End")
    fill_sheet(page, litres=2500, sludge=410)
    add_photo(page, "found")
    add_photo(page, "lid_back")
    page.check("input[name=signed_how][value=typed]")
    page.fill("[name=signed_by]", "Omar Brook")
    record(page)
    kept(page)


def test_a_day_without_signal_is_at_the_office_in_the_evening(day, phone, page, client):
    installer, _, planned, (first, second, third) = day
    before = Forecast.objects.get(system=first.system).due_on
    phone.set_offline(True)
    do_first(page)
    leave_second(page)
    do_third(page)
    page.goto(reverse("scheduler:today"))
    page.get_by_text("7 entries and 4 photos on this telephone").wait_for()
    assert not Visit.objects.exists()
    phone.set_offline(False)
    all_sent(page)
    for job in (first, second, third):
        job.refresh_from_db()
    assert [job.state for job in (first, second, third)] == ["done", "abandoned", "done"]
    assert first.visit.dips.get().sludge_mm == 300
    assert third.visit.emptying.litres_removed == 2500
    assert second.visit.abandoned_because == "locked_gate"
    assert planned.stops.filter(arrived_at__isnull=False).count() == 3
    assert (first.visit.signed_by, first.visit.signed_how) == ("Omar Brook", "drawn")
    assert first.visit.cautions_read_at is not None
    kinds = {*VisitPhoto.objects.values_list("visit", "kind")}
    assert kinds == {
        (first.visit_id, "lid_before"),
        (first.visit_id, "lid_back"),
        (third.visit_id, "found"),
        (third.visit_id, "lid_back"),
    }
    assert Forecast.objects.get(system=first.system).due_on > before
    the_office_sees(client, installer, first, third)


def the_office_sees(client, installer, first, third):
    client.force_login(make_user(installer, name="Ines"))
    shown = client.get(reverse("scheduler:job", args=[third.public_id])).content.decode()
    assert "The lane is flooded by the bridge" in shown
    for one in third.visit.photos.all():
        assert reverse("scheduler:photo", args=[one.public_id]) in shown
    system = client.get(reverse("servicing:system", args=[first.system.public_id])).content.decode()
    due = Forecast.objects.get(system=first.system).due_on
    assert f"{due.day} {due:%B %Y}" in system
    with Image.open(first.visit.photos.first().image.path) as picture:
        assert max(picture.size) == 1600
        assert not picture.getexif()


def test_what_was_not_taken_along_says_so_without_signal(phone, page):
    phone.set_offline(True)
    page.goto(reverse("scheduler:rounds"))
    assert page.get_by_text("No signal, and this page is not on the telephone").is_visible()


def test_pressing_twice_records_once(day, page):
    page.goto(sheet_path(day[3][0]))
    fill_sheet(page)
    without_camera(page)
    page.dblclick("button:has-text('Record the visit')")
    page.wait_for_url("**/recorded/")
    assert Visit.objects.count() == 1
    assert Delivery.objects.filter(kind="sheet").count() == 1


def test_what_is_missing_is_told_on_the_spot_without_signal(day, phone, page):
    phone.set_offline(True)
    page.goto(sheet_path(day[3][0]))
    page.check("input[name=signed_how][value=drawn]")
    record(page)
    told = page.inner_text(".error-list")
    for words in ("Read the cautions", "Photograph the cover back on", "The signature is blank"):
        assert words in told


def test_a_job_moved_meanwhile_is_left_to_the_office(day, phone, page, client):
    installer, _, planned, (first, *_) = day
    phone.set_offline(True)
    page.goto(sheet_path(first))
    fill_sheet(page)
    without_camera(page)
    record(page)
    kept(page)
    planned.stops.filter(job=first).delete()
    ines = make_user(installer, name="Ines")
    at = timezone.now() + dt.timedelta(days=4)
    booking.book(job=first, starts_at=at, ends_at=at + dt.timedelta(hours=2), by=ines)
    phone.set_offline(False)
    page.locator("[data-kept-words]", has_text="The office moved this job").wait_for()
    assert not Visit.objects.exists()
    waiting = Delivery.objects.get(state=Delivery.State.DISPUTED)
    client.force_login(ines)
    client.post(reverse("scheduler:delivery_settle", args=[waiting.public_id]), {"how": "record"})
    first.refresh_from_db()
    assert (first.state, first.visit.emptying.litres_removed) == (Job.State.DONE, 2700)


def test_a_login_that_ran_out_loses_nothing(day, phone, page):
    _, tess, _, (first, *_) = day
    phone.set_offline(True)
    page.goto(sheet_path(first))
    fill_sheet(page)
    add_photo(page, "lid_back")
    draw_name(page)
    record(page)
    kept(page)
    phone.clear_cookies(name=django_settings.SESSION_COOKIE_NAME)
    phone.set_offline(False)
    page.click("a:has-text('Sign in to send')")
    page.fill("[name=username]", tess.email)
    page.fill("[name=password]", "correct horse")
    page.click("button:has-text('Sign in')")
    page.wait_for_url("**/recorded/")
    assert first.system.photos.get().visit == Visit.objects.get()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"%PDF-1.7 no photo", "is no photo"),
        (b"\xff\xd8\xff" + bytes(40 * 1024 * 1024), "at most 20 MB are taken"),
    ],
    ids=["not a photo", "40 MB"],
)
def test_what_is_no_photo_is_refused_plainly(day, page, tmp_path, content, words):
    file = tmp_path / "cover.jpg"
    file.write_bytes(content)
    page.goto(sheet_path(day[3][0]))
    page.set_input_files("#id_photo_lid_back", file)
    page.locator("[data-photo-said]", has_text=words).wait_for()
    assert page.locator("[data-photo=lid_back] img").count() == 0


FULL = """() => {
    const put = IDBObjectStore.prototype.put;
    IDBObjectStore.prototype.put = function (value, ...rest) {
        if (this.name === "photos") {
            throw new DOMException("full", "QuotaExceededError");
        }
        return put.call(this, value, ...rest);
    };
}"""


def test_a_full_telephone_keeps_the_text_and_asks_about_the_photo(day, phone, page):
    page.goto(sheet_path(day[3][0]))
    fill_sheet(page)
    page.check("input[name=signed_how][value=nobody]")
    page.evaluate(FULL)
    phone.set_offline(True)
    page.set_input_files("#id_photo_lid_back", photo())
    page.get_by_text("storage is full: this photo is not kept").wait_for()
    record(page)
    page.get_by_text("Photograph the cover back on").first.wait_for()
    page.click("button:has-text('Go on without this photo')")
    record(page)
    kept(page)
    phone.set_offline(False)
    page.wait_for_url("**/recorded/")
    assert Visit.objects.get().no_photo_because == "The telephone's storage was full"


def test_signing_out_leaves_no_page_behind(day, phone, page):
    page.goto(reverse("scheduler:today"))
    page.locator("[data-crew-bar][data-ready=yes]").wait_for()
    assert page.evaluate("caches.open('ebbmark-pages').then(c => c.keys()).then(k => k.length)") > 3
    page.click("button:has-text('Sign out')")
    page.wait_for_url("**/login/")
    left = "caches.has('ebbmark-pages').then(async has => has ? (await (await caches.open('ebbmark-pages')).keys()).length : 0)"
    assert page.evaluate(left) == 0
    phone.set_offline(True)
    page.goto(sheet_path(day[3][0]))
    assert page.get_by_text("this page is not on the telephone").is_visible()
