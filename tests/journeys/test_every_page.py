"""Every page anybody can reach by links: nothing dead, nothing in the way of anybody.

WCAG 2.2 by axe-core, in light and dark; reflow at phone width after its criterion 1.4.10.
"""

from __future__ import annotations

import sys

import pytest
from django.test import Client
from django.urls import reverse

from tests.journeys.browser import DESK, PATIENCE_MS, let_in, listen, open_browser
from tests.journeys.lived_in import User, live_in
from tests.journeys.site_walk import Walk, follow_links, look_at, not_met
from tests.test_every_url import TABLE

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]

WHO = {
    "office": "ines@larkholt.example",
    "reader": "hollis@larkholt.example",
    "planner": "merryn@brindle.example",
    "crew": "tess@brindle.example",
}
# Addresses no link leads to, and where they are opened instead.
NOT_BY_LINK = {
    "health": "for machines",
    "metrics": "for machines",
    **{
        f"scheduler:crew_{name}": "for the scripts of the crew's pages"
        for name in ("worker", "manifest", "offline", "token", "take", "deliver", "photo")
    },
    "scheduler:feed": "subscribed to by a calendar program",
    "servicing:lids": "fetched by the map, as JSON",
    "servicing:import_progress": "fetched by the page, as JSON",
    "scheduler:owner_photo": "no photo at a link's place: tests/scheduler/test_owner_proofs.py",
    "scheduler:letters_gather": "every letter there is gathered: tests/scheduler/test_papers.py",
    "scheduler:reply_settle": "only for an answer by mail: tests/scheduler/messages",
    "scheduler:stop_load": "no job there takes several visits: tests/scheduler/test_job_visits.py",
    "password_reset_confirm": "by mail: tests/customers/test_sign_in.py",
}


@pytest.fixture
def walks(tmp_path, settings):
    settings.DATA = settings.MEDIA_ROOT = settings.MAIL_FOLDER = tmp_path
    lived = live_in()
    starts = {who: [reverse("scheduler:desk")] for who in WHO}
    starts["office"] += [*lived.office, reverse("password_change_done")]
    starts["planner"] += lived.planner
    found = []
    for who, email in WHO.items():
        client = Client()
        client.force_login(User.objects.get(email=email))
        found.append(follow_links(who, client, starts[who]))
    found.append(follow_links("owner", Client(), lived.by_link))
    signing_in = ("login", "password_reset_done", "password_reset_complete")
    found.append(follow_links("nobody", Client(), [reverse(name) for name in signing_in]))
    return found


def table_of(walks: list[Walk]) -> str:
    """Names of the pages opened, and by whom."""
    names = sorted({name for walk in walks for name in walk.pages})
    rows = [(name, " ".join(w.who for w in walks if name in w.pages)) for name in names]
    return "\n".join(f"{name:<34}{who}" for name, who in rows)


def test_every_page_is_there_and_in_nobodys_way(walks, live_server, monkeypatch):
    wrong = [fault for walk in walks for fault in walk.dead]
    known: set[str] = set()
    with open_browser(monkeypatch) as browser:
        for walk in walks:
            context = browser.new_context(base_url=live_server.url, viewport=DESK)
            if walk.who in WHO:
                let_in(context, User.objects.get(email=WHO[walk.who]), live_server.url)
            page = context.new_page()
            page.set_default_timeout(PATIENCE_MS)
            listen(page, wrong)
            wrong += look_at(page, walk, known)
            context.close()
    sys.stdout.write(f"{table_of(walks)}\n")  # seen with -s, and where the test fails
    missed = not_met(set(TABLE) - set(NOT_BY_LINK), walks)
    wrong += [f"no link or button leads to {name}" for name in sorted(missed)]
    assert not wrong, "\n".join(wrong)
