"""From a spreadsheet of past installations to a driven round and a new forecast, in a browser.

Ines keeps the office of an installer, Merryn plans for a tanker operator, Tess drives, and Omar
owns a tank and has no account. The list is invented; its formats are those offices really use.
An invitation is read with icalendar and must be a REQUEST by RFC 5546, section 3.2.2.
"""

from __future__ import annotations

import csv
import datetime as dt
import re
from email import message_from_bytes
from email.policy import SMTP
from pathlib import Path

import icalendar
import pytest
import time_machine
from django.urls import reverse

from customers.models import Person
from scheduler.models import DayRequest, Job, Round, TroubleReport
from scheduler.tasks import drain_outbox
from servicing.models import Forecast, Occupancy, System, Visit
from tests.journeys.browser import DESK, PATIENCE_MS, PHONE, listen, open_browser
from tests.make import (
    make_base,
    make_crew,
    make_jpeg,
    make_organisation,
    make_tanker,
    make_user,
    make_works,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]

LIST = Path(__file__).parents[1] / "data" / "past_installations.csv"
TUESDAY = dt.datetime(2027, 3, 2, 9, 30, tzinfo=dt.UTC)
FRIDAY = dt.date(2027, 3, 5)
REFUSED = {"LK0101", "LK0111", "LK0112", "LK0113", "LK0114", "LK0116"}
MET = {"LK0101", "LK0102", "LK0103", "LK0104", "LK0105"}
MET |= {"LK0106", "LK0107", "LK0108", "LK0109", "LK0110"}


@pytest.fixture
def clock():
    """A Tuesday morning that goes on ticking; later moved to the Friday."""
    with time_machine.travel(TUESDAY, tick=True) as traveller:
        yield traveller


@pytest.fixture
def firms(clock, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path / "media"
    operator = make_organisation(name="Brindle Vale Tankers", phone="01632 960 200")
    tess = make_user(operator, "crew", name="Tess", email="tess@brindle.example")
    crew = make_crew(operator, name="Tess", user=tess, email=tess.email)
    base = make_base(operator, latitude=52.25, longitude=-3.36)
    make_tanker(operator, name="Heron", base=base, crew=crew, capacity_litres=9000)
    make_works(operator, name="Sallow Works", latitude=52.27, longitude=-3.33)
    make_user(operator, "planner", name="Merryn", email="merryn@brindle.example")
    installer = make_organisation(
        name="Larkholt Drainage Aftercare", tanker_operator=operator, phone="01632 960 100"
    )
    make_user(installer, name="Ines", email="ines@larkholt.example")
    return installer, operator


@pytest.fixture
def sheet(tmp_path):
    """The list, in which Omar owns the first tank."""
    path = tmp_path / "past_installations.csv"
    text = LIST.read_text(encoding="utf-8").replace("Ada Brook,ada@", "Omar Brook,omar@")
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def faults():
    return []


@pytest.fixture
def post(settings, tmp_path):
    settings.MAIL_FOLDER = tmp_path / "mail"
    return Post(settings.MAIL_FOLDER)


@pytest.fixture
def person(firms, live_server, monkeypatch, faults):
    """Opens a window of the person's own; all windows are those of one browser."""
    with open_browser(monkeypatch) as browser:

        def window(size=DESK):
            context = browser.new_context(base_url=live_server.url, viewport=size, locale="en-GB")
            page = context.new_page()
            page.set_default_timeout(PATIENCE_MS)
            listen(page, faults)
            return page

        yield window


def sign_in(page, email):
    page.goto("/")
    page.fill("[name=username]", email)
    page.fill("[name=password]", "correct horse")
    page.click("form[data-sign-in] [type=submit]")
    page.wait_for_url("**/")


def heading(page):
    return page.inner_text("h1").replace("\xa0", " ")


def words(page):
    return page.inner_text("main").replace("\xa0", " ")


def press(page, name):
    page.get_by_role("button", name=name).first.click()
    page.wait_for_load_state()


def go(page, name):
    page.get_by_role("link", name=name).first.click()
    page.wait_for_load_state()


class Post:
    """The folder that mail is put in, one file a message, where no mail server is set up."""

    def __init__(self, folder):
        self.folder = folder

    def to(self, address):
        """Mail that left for somebody, oldest first."""
        drain_outbox()  # as the timetable does all day
        files = sorted(self.folder.glob("*.eml"), key=lambda file: file.stat().st_mtime_ns)
        mails = [message_from_bytes(file.read_bytes(), policy=SMTP) for file in files]
        return [found for found in mails if address in found["To"]]


def link_of(found):
    """Path of the owner's page in a mail."""
    return re.search(r"/place/[^/\s]+/", found.get_body(("plain",)).get_content())[0]


def invitation_in(found):
    """The event of a mail that invites to one."""
    (part,) = [part for part in found.walk() if part.get_content_type() == "text/calendar"]
    calendar = icalendar.Calendar.from_ical(part.get_payload(decode=True))
    assert part.get_param("method") == calendar["METHOD"] == "REQUEST"
    (event,) = calendar.walk("VEVENT")
    return event


def bring_in(page, sheet):
    """The list by page: file, columns, what it would do, doing it."""
    go(page, "Register")
    go(page, "Bring in")
    page.set_input_files("[type=file]", sheet)
    press(page, "Read the list")
    assert heading(page) == "What the columns mean"
    assert page.get_by_label("Tank size").input_value() == "volume"
    press(page, "Show what it would do")
    assert "Nothing has been written yet" in words(page)
    assert "a volume of -5 is impossible" in words(page)
    assert not System.objects.exists()
    press(page, f"Add {len(MET)} systems")
    assert heading(page) == "The list is in the register"
    assert set(System.objects.values_list("reference", flat=True)) == MET
    with page.expect_download() as fetched:
        page.click("text=Download the refused rows")
    with fetched.value.path().open(encoding="utf-8-sig") as file:
        assert {row["Job no."] for row in csv.DictReader(file)} == REFUSED


def job_at(reference):
    return Job.objects.get(system__reference=reference, kind="emptying")


def see_what_is_due(page):
    """The due list says what, when and why; the operator drives what is emptied."""
    go(page, "Due")
    press(page, "Look through the register now")
    assert "Upper Nant" in words(page)
    assert "with Brindle Vale Tankers" in words(page)
    go(page, "Nant Farm")
    assert heading(page) == "Emptying at Nant Farm"
    choice = page.get_by_label("Driven by")
    assert choice.locator("option:checked").inner_text() == "Brindle Vale Tankers"
    choice.select_option("Ourselves")
    press(page, "Save who drives")
    assert job_at("LK0101").handed_to is None
    page.get_by_label("Driven by").select_option("Brindle Vale Tankers")
    press(page, "Save who drives")
    assert job_at("LK0101").handed_to.name == "Brindle Vale Tankers"


def offer_thursday(page):
    page.get_by_label("Day").fill("2027-03-04")
    press(page, "Offer this day")
    assert "The day is offered" in words(page)
    assert job_at("LK0101").state == Job.State.OFFERED


def ask_for_friday(page, post):
    """Omar cannot on Thursday."""
    (offer,) = post.to("omar@home.example")
    page.goto(link_of(offer))
    assert "We could come on this day: Thursday 4 March" in words(page)
    page.click("summary:has-text('Ask for another day')")
    page.get_by_label("A day that suits you").fill(FRIDAY.isoformat())
    press(page, "Ask for these days")
    assert "You asked for another day" in words(page)
    assert DayRequest.objects.get().days == [FRIDAY.isoformat()]


def offer_friday(page):
    """The office finds the wish and offers the day."""
    page.goto("/")
    go(page, "1 owner asked for another day")
    assert "Friday 5 March 2027" in words(page)
    press(page, "Offer this day")
    assert "Nobody waits for another day" in words(page)


def agree(page, post):
    """Omar agrees, and gets the visit for his calendar."""
    *_, offer = post.to("omar@home.example")
    page.goto(link_of(offer))
    assert "Friday 5 March" in words(page)
    press(page, "Yes, that day suits")
    assert "that is agreed" in words(page)
    assert job_at("LK0101").state == Job.State.AGREED
    *_, invite = post.to("omar@home.example")
    event = invitation_in(invite)
    assert event["ATTENDEE"].lower() == "mailto:omar@home.example"
    assert event["DTSTART"].dt.date() == FRIDAY


def plan_friday(page):
    """Merryn plans the day, sees what came out, and accepts it."""
    go(page, "Rounds")
    go(page, "Plan")
    page.get_by_label("First day").fill(FRIDAY.isoformat())
    page.get_by_label("Search for").select_option("3 seconds")
    press(page, "Show the jobs for these days")
    assert "Nant Farm" in words(page)
    press(page, "Plan the ticked jobs")
    assert heading(page) == "Plan for Friday 5 March"
    assert "Proposed: nobody has been told yet" in words(page)
    assert "Weir End" in words(page)  # 18 m³ of cesspool do not fit a tanker of 9
    press(page, "Accept this round")
    assert "Accepted: " in words(page)
    planned = Round.objects.get(accepted_at__isnull=False)
    assert planned.day == FRIDAY
    assert planned.stops.filter(job=job_at("LK0101")).exists()
    return planned


def everybody_is_invited(post, planned):
    """The crew to the whole day, the owners each to the visit."""
    (letter,) = post.to("tess@brindle.example")
    event = invitation_in(letter)
    assert event["ATTENDEE"].lower() == "mailto:tess@brindle.example"
    assert event["DTSTART"].dt.date() == planned.day
    owners = Person.objects.filter(parties__premises__systems__jobs__stops__round=planned)
    addresses = set(owners.exclude(email="").values_list("email", flat=True))
    assert len(addresses) > 1
    for address in addresses:
        *_, letter = post.to(address)
        assert invitation_in(letter)["ATTENDEE"].lower() == f"mailto:{address}"


def record_the_visit(page):
    """Tess opens her round, is there, reads, takes all out, and puts the lid back."""
    page.goto(reverse("scheduler:today"))
    assert "Heron" in words(page)
    stop = page.locator(".round-stop", has_text="Nant Farm")
    stop.get_by_role("button", name="I am there").click()
    page.wait_for_url("**/sheet/")
    page.check("#id_cautions_read")
    page.check("input[name=ground][value=dry]")
    page.locator("input[name$=-sludge_mm]").fill("520")
    page.locator("input[name$=-scum_mm]").fill("80")
    page.check("input[name=removed][value=all]")
    page.fill("[name=volume_removed]", "4500")
    page.fill("[name=who_was_present]", "Omar")
    page.check("#id_lid_back_on")
    photo = {"name": "cover.jpg", "mimeType": "image/jpeg", "buffer": make_jpeg()}
    page.set_input_files("#id_photo_lid_back", photo)
    page.locator("[data-photo=lid_back] img").wait_for()
    page.check("input[name=signed_how][value=typed]")
    page.fill("[name=signed_by]", "Omar Brook")
    press(page, "Record the visit")
    page.locator("#id_sure:visible, [data-draft-done]").first.wait_for(state="attached")
    if page.locator("#id_sure").is_visible():
        page.check("#id_sure")
        press(page, "Record the visit")
    page.wait_for_url("**/recorded/")
    assert page.url.endswith("/recorded/"), words(page)
    visit = Visit.objects.get(system__reference="LK0101")
    assert (visit.emptying.litres_removed, visit.lid_back_on) == (4500, True)
    assert (visit.dips.get().sludge_mm, visit.visited_on) == (520, FRIDAY)
    assert job_at("LK0101").state == Job.State.DONE


def see_the_new_forecast(page, before):
    page.goto(reverse("servicing:systems"))
    go(page, "LK0101")
    assert "5 March 2027" in words(page)
    assert "4,500" in words(page)
    after = Forecast.objects.get(system__reference="LK0101")
    assert after.due_on > max(before, FRIDAY)
    assert f"{after.due_on.day} {after.due_on:%B %Y}" in words(page)


def tell_the_office(page, link):
    """Omar says how many live there now, and that something is wrong."""
    before = Forecast.objects.get(system__reference="LK0101").removal_p50
    page.goto(link)
    page.get_by_label("How many of you live here now").fill("7")
    press(page, "Tell us")
    assert "worked out afresh" in words(page)
    assert Occupancy.objects.filter(system__reference="LK0101", persons=7).exists()
    assert Forecast.objects.get(system__reference="LK0101").removal_p50 < before
    go(page, "Report trouble")
    page.locator("input[name$=-sign][value=all_slow]").check()
    page.get_by_label("In your own words").fill("All of it, since this morning")
    press(page, "See what to do")
    assert TroubleReport.objects.get().symptom == "all_slow"


def read_the_trouble(page):
    page.goto("/")
    go(page, "Trouble at LK0101")
    assert "All of it, since this morning" in words(page)
    assert "Omar Brook" in words(page)
    press(page, "Mark as read")
    assert "No trouble waits to be read" in words(page)
    assert TroubleReport.objects.get().seen_by_office_at is not None


def test_from_a_spreadsheet_to_a_driven_round(person, post, sheet, faults, clock):
    ines, omar = person(), person(PHONE)
    sign_in(ines, "ines@larkholt.example")
    bring_in(ines, sheet)
    see_what_is_due(ines)
    offer_thursday(ines)
    ask_for_friday(omar, post)
    offer_friday(ines)
    agree(omar, post)
    link = re.search(r"/place/[^/\s]+/", omar.url)[0]
    merryn = person()
    sign_in(merryn, "merryn@brindle.example")
    everybody_is_invited(post, plan_friday(merryn))
    before = Forecast.objects.get(system__reference="LK0101").due_on
    clock.move_to(dt.datetime(2027, 3, 5, 9, 40, tzinfo=dt.UTC), tick=True)
    tess = person(PHONE)
    sign_in(tess, "tess@brindle.example")
    record_the_visit(tess)
    see_the_new_forecast(ines, before)
    tell_the_office(omar, link)
    read_the_trouble(ines)
    assert faults == []
