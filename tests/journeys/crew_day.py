"""A crew with a round of jobs, its telephone, and what it does on a sheet."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.urls import reverse

from customers.models import Organisation, Party, User
from scheduler.models import Job, Round
from servicing.forecasts import refresh_forecast
from tests.make import (
    make_crew,
    make_job,
    make_jpeg,
    make_organisation,
    make_person,
    make_premises,
    make_round,
    make_stop,
    make_system,
    make_tanker,
    make_user,
)

if TYPE_CHECKING:
    from playwright.sync_api import Page

PLACES = ("Alder Barn", "Beck Cottage", "Coppice End")


def photo(width: int = 2400, height: int = 1800) -> dict[str, Any]:
    """A photograph as the telephone's camera hands it to the page."""
    return {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": make_jpeg(width, height)}


def make_day(today: dt.date) -> tuple[Organisation, User, Round, list[Job]]:
    """An installer whose crew, Tess, has three emptyings today."""
    installer = make_organisation(name="Larkholt Drainage Aftercare")
    tess = make_user(installer, "crew", name="Tess", email="tess@larkholt.example")
    crew = make_crew(installer, name="Tess", user=tess)
    tanker = make_tanker(installer, name="Heron", crew=crew)
    planned = make_round(installer, crew, day=today, tanker=tanker)
    jobs = []
    for place in PLACES:
        system = make_system(
            premises=make_premises(installer, name=place),
            last_emptied_on=today - dt.timedelta(days=900),
            tank={"outlet_height_mm": 1200},
            lid_corner="the north corner of the house",
            lid_corner_m=5,
            lid_other_corner="the porch",
            lid_other_corner_m=5,
            corners_apart_m=6,
        )
        owner = make_person(installer, name=f"Owner of {place}")
        Party.objects.create(premises=system.premises, person=owner, role="owner")
        refresh_forecast(system, today=today)
        job = make_job(system, due_on=today, state=Job.State.AGREED)
        make_stop(planned, job=job)
        jobs.append(job)
    return installer, tess, planned, jobs


def sheet_path(job: Job) -> str:
    return reverse("scheduler:job_sheet", args=[job.public_id])


def take_along(page: Page) -> None:
    """The morning, with signal: the round comes onto the telephone."""
    page.goto(reverse("scheduler:today"))
    page.locator("[data-crew-bar][data-ready=yes]").wait_for()
    page.get_by_text("taken along at").wait_for()


def add_photo(page: Page, kind: str, file: dict[str, Any] | None = None) -> None:
    page.set_input_files(f"#id_photo_{kind}", file or photo())
    page.locator(f"[data-photo={kind}] img").first.wait_for()


def draw_name(page: Page) -> None:
    """Sign in the frame, stroke after stroke."""
    page.check("input[name=signed_how][value=drawn]")
    pad = page.locator("[data-sign-pad]")
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    assert box
    page.mouse.move(box["x"] + 20, box["y"] + 40)
    page.mouse.down()
    for step in range(1, 15):
        page.mouse.move(box["x"] + 20 + 15 * step, box["y"] + 40 + 30 * (step % 2))
    page.mouse.up()
    page.fill("[name=signed_by]", "Omar Brook")


def fill_sheet(page: Page, litres: int = 2700, sludge: int = 300) -> None:
    """Everything but photographs and signature."""
    page.check("#id_cautions_read")
    page.check("input[name=ground][value=dry]")
    page.locator("input[name$=-sludge_mm]").fill(str(sludge))
    page.locator("input[name$=-scum_mm]").fill("60")
    page.check("input[name=removed][value=all]")
    page.fill("[name=volume_removed]", str(litres))
    page.check("#id_lid_back_on")


def without_camera(page: Page) -> None:
    page.click("summary:has-text('No camera works')")
    page.fill("[name=no_photo_because]", "The camera is broken")
    page.check("input[name=signed_how][value=nobody]")


def record(page: Page) -> None:
    page.click("button:has-text('Record the visit')")


def kept(page: Page) -> None:
    """The page says that the sheet is on the telephone."""
    page.get_by_text("The sheet is finished, with its photos.").wait_for()


def all_sent(page: Page) -> None:
    page.locator("[data-crew-waiting]").wait_for(state="hidden")
