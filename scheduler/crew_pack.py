"""What a crew's telephone takes along in the morning, and the shell that shows it without signal."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse

from scheduler import crew_sheets, driven_days
from scheduler.models import Job

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from customers.models import User
    from servicing.models import VisitPhoto

CSS = (
    "tokens", "page", "parts", "tables", "forms", "charts", "print", "job_sheet", "tank_readings",
    "crew_app",
)  # fmt: skip
# Shared by the page and the worker, in the order in which they need each other.
WORKER_SCRIPTS = ("crew_store", "crew_send", "crew_worker")
PAGE_SCRIPTS = (
    "page",
    "crew_app",
    "crew_keep",
    "crew_stops",
    "crew_check",
    "crew_sheet",
    "crew_photos",
    "crew_sign",
    "sheet_draft",
    "tank_readings",
    "tank_drawing",
)
PICTURES = ("icon.svg", "crew-192.png", "crew-512.png", "staff.svg")


def shell_files() -> list[str]:
    """Static files, by the names the finders know them under, that every crew page needs."""
    scripts = (*WORKER_SCRIPTS, *PAGE_SCRIPTS)
    return [
        *(f"scheduler/css/{name}.css" for name in CSS),
        *(f"scheduler/js/{name}.js" for name in scripts),
        *(f"scheduler/img/{name}" for name in PICTURES),
    ]


@lru_cache(maxsize=1)
def shell_version() -> str:
    """Changes whenever a file of the shell does: by it a telephone knows that there is a new one."""
    digest = hashlib.sha256(render_to_string("scheduler/crew_offline.html").encode())
    for name in shell_files():
        found = finders.find(name)
        assert isinstance(found, str), name
        digest.update(Path(found).read_bytes())
    return digest.hexdigest()[:12]


def worker_script() -> str:
    """The service worker: what it keeps, under which version, then the scripts that do the work."""
    told = {
        "version": shell_version(),
        "shell": [static(name) for name in shell_files()],
        "offline": reverse("scheduler:crew_offline"),
        "today": reverse("scheduler:today"),
        "signOut": reverse("logout"),
        "token": reverse("scheduler:crew_token"),
        "deliver": reverse("scheduler:crew_deliver"),
        "photo": reverse("scheduler:crew_photo"),
    }
    scripts = [static(f"scheduler/js/{name}.js") for name in WORKER_SCRIPTS]
    calls = ", ".join(json.dumps(script) for script in scripts)
    return f"self.crew = {json.dumps(told)};\nimportScripts({calls});\n"


def manifest() -> dict[str, Any]:
    """The web app manifest (W3C, Web Application Manifest)."""
    icons: list[dict[str, str]] = [
        {
            "src": static(f"scheduler/img/crew-{size}.png"),
            "sizes": f"{size}x{size}",
            "type": "image/png",
            "purpose": "any maskable",
        }
        for size in (192, 512)
    ]
    icons.append({"src": static("scheduler/img/icon.svg"), "sizes": "any", "type": "image/svg+xml"})
    return {
        "name": "Ebbmark: today's round",
        "short_name": "Ebbmark",
        "description": "Today's round and its job sheets, with or without signal.",
        "id": reverse("scheduler:today"),
        "start_url": reverse("scheduler:today"),
        "scope": "/",
        "display": "standalone",
        "orientation": "portrait",
        "background_color": "#f4f2ec",
        "theme_color": "#0a5a68",
        "lang": "en-GB",
        "icons": icons,
    }


def pack_for(user: User, days: list[dt.date]) -> dict[str, Any]:
    """Addresses of every page and picture that the rounds of `days` need."""
    rounds = driven_days.rounds_to_drive(user, days)
    jobs = [stop.job for one in rounds for stop in one.stops.all() if stop.job is not None]
    return {
        "pages": [reverse("scheduler:today"), *(sheet_address(job) for job in jobs if job.is_open)],
        "photos": [photo_address(photo) for photo in photos_for(jobs)],
        "jobs": {str(job.public_id): name_of(job) for job in jobs},
    }


def sheet_address(job: Job) -> str:
    return reverse("scheduler:job_sheet", args=[job.public_id])


def photo_address(photo: VisitPhoto) -> str:
    return reverse("scheduler:photo", args=[photo.public_id])


def name_of(job: Job) -> str:
    """How a crew calls a job."""
    return f"{job.system.premises}, {job.system.reference}"


def photos_for(jobs: Iterable[Job]) -> list[VisitPhoto]:
    """Photographs of last time that lead to the covers of these jobs."""
    return [photo for job in jobs if job.is_open for photo in crew_sheets.photos_of_the_way(job)]
