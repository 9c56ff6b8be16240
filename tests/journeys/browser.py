"""A real browser for walks through the site, and an ear for what goes wrong in it."""

from __future__ import annotations

import contextlib
import os
import shutil
from typing import TYPE_CHECKING

import pytest
from django.conf import settings
from django.test import Client

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, BrowserContext, Page, Request, Response

    from customers.models import User

FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
FLAGS += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}
PATIENCE_MS = 20_000  # for a machine that has other things to do


@contextlib.contextmanager
def open_browser(monkeypatch: pytest.MonkeyPatch) -> Iterator[Browser]:
    """A browser. Where there is no Chromium: the test is skipped, or failed where CI needs it."""
    path = shutil.which("chromium")
    if path is None:
        give_up = pytest.fail if os.environ.get("CI") == "true" else pytest.skip
        give_up("Chromium is not installed.")
    # Playwright runs a loop in this thread, in which Django would refuse the database.
    monkeypatch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only where there is a browser

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


def listen(page: Page, faults: list[str]) -> None:
    """Write down every error of the console or a script, and every request that failed."""

    def answered(response: Response) -> None:
        if response.status >= 400:
            faults.append(f"{response.status} at {response.url}")

    def failed(request: Request) -> None:
        # A page left while it still loads, or a file that is downloaded, is no fault.
        if request.failure != "net::ERR_ABORTED":
            faults.append(f"{request.failure} at {request.url}")

    def said(message) -> None:
        # The answer itself is noted above, with its address.
        if message.type == "error" and "Failed to load resource" not in message.text:
            faults.append(f"console at {page.url}: {message.text}")

    page.on("console", said)
    page.on("pageerror", lambda fault: faults.append(f"script at {page.url}: {fault}"))
    page.on("response", answered)
    page.on("requestfailed", failed)


def let_in(context: BrowserContext, user: User, address: str) -> None:
    """Sign somebody in without the form."""
    client = Client()
    client.force_login(user)
    value = client.cookies[settings.SESSION_COOKIE_NAME].value
    context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": value, "url": address}])
