"""A job left undone after the cover was lifted, with the network off, in a browser."""

from __future__ import annotations

import pytest
from django.utils import timezone

from servicing.models import Visit
from tests.journeys.browser import PATIENCE_MS, PHONE, let_in, open_browser
from tests.journeys.crew_day import all_sent, kept, make_day, photo, sheet_path, take_along

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


def test_a_lifted_cover_is_shown_back_on_before_the_sheet_is_kept(
    transactional_db, live_server, monkeypatch, settings, tmp_path
):
    settings.MEDIA_ROOT = tmp_path / "media"
    _, tess, _, jobs = make_day(timezone.now().date())
    job = jobs[0]
    with open_browser(monkeypatch) as browser:
        phone = browser.new_context(base_url=live_server.url, viewport=PHONE, locale="en-GB")
        phone.set_default_timeout(PATIENCE_MS * 3)
        let_in(phone, tess, live_server.url)
        page = phone.new_page()
        take_along(page)
        phone.set_offline(True)
        page.goto(sheet_path(job))
        leave_undone(page)
        page.get_by_text("Photograph the cover back on").first.wait_for()
        page.get_by_text("The cover is not said to be back on").first.wait_for()
        page.check("[name=left-undone-lid_back_on]")
        page.set_input_files("[name=left-undone-photo_lid_back]", photo())
        page.locator("[data-crew-abandon] [data-photo=lid_back] img").wait_for()
        assert page.locator("[data-crew-sheet] [data-photo=lid_back] img").count() == 0
        page.get_by_role("button", name="Record that it was not done").click()
        kept(page)
        assert not Visit.objects.exists()
        phone.set_offline(False)
        all_sent(page)
    job.refresh_from_db()
    assert (job.state, job.visit.abandoned_because) == ("abandoned", "tanker_full")
    assert job.visit.lid_back_on
    assert [one.kind for one in job.visit.photos.all()] == ["lid_back"]


def leave_undone(page):
    """The cover is off, and the tanker turns out to be full."""
    page.click("summary:has-text('It could not be done')")
    page.select_option("[name=left-undone-abandoned_because]", "tanker_full")
    page.check("[name=left-undone-cover_lifted][value=yes]")
    page.get_by_role("button", name="Record that it was not done").click()
