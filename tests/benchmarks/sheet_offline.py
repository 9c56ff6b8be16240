"""How soon a job sheet opens on a telephone without signal, against a site that runs.

    python3 manage.py demo --port 8010
    python -m tests.benchmarks.sheet_offline http://localhost:8010 tess@brindle.example PASSWORD

Prints milliseconds from the request to the page being parsed, and to the sheet being ready to
write on. A report, not a test: it says as much about the machine as about the page.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import time
from typing import TYPE_CHECKING

from playwright.sync_api import sync_playwright

from tests.journeys.browser import FLAGS, PHONE

if TYPE_CHECKING:
    from playwright.sync_api import Page

OPENINGS = 15
PATIENCE_MS = 120_000


def sign_in(page: Page, email: str, password: str) -> None:
    page.goto("/accounts/login/?next=/today/")
    page.fill("[name=username]", email)
    page.fill("[name=password]", password)
    page.click("form[data-sign-in] [type=submit]")
    page.locator("[data-crew-bar][data-ready=yes]").wait_for()


def opening(page: Page, address: str) -> tuple[float, float]:
    """Milliseconds until parsed, and until ready to write on."""
    begins = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.locator("#id_cautions_read").wait_for()
    page.wait_for_load_state("domcontentloaded")
    ready = (time.perf_counter() - begins) * 1000
    timing = "performance.getEntriesByType('navigation')[0].domInteractive"
    return float(page.evaluate(timing)), ready


def main() -> None:
    site, email, password = sys.argv[1:]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        context = browser.new_context(base_url=site, viewport=PHONE)
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        sign_in(page, email, password)
        links = page.locator(".round-stop:has([data-crew-entry=arrived]) h3 a").evaluate_all(
            "all => all.map(a => a.href)"
        )
        context.set_offline(True)
        found = [opening(page, links[n % len(links)]) for n in range(OPENINGS)]
        browser.close()
    for words, figures in zip(("parsed", "ready"), zip(*found, strict=True), strict=True):
        middle, worst = statistics.median(figures), max(figures)
        sys.stdout.write(f"{words}: median {middle:.0f} ms, slowest {worst:.0f} ms\n")


if __name__ == "__main__":
    main()
