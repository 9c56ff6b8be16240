"""What an answer said word by word is forgotten; what came of it is not."""

from __future__ import annotations

from datetime import timedelta

import pytest

from scheduler.messages.retention import forget_raw_replies
from scheduler.models import Reply
from scheduler.timetable import TIMETABLE
from tests.make import make_organisation
from tests.scheduler.messages.visits import NOW

pytestmark = pytest.mark.django_db


def make_reply(days_ago, **fields):
    return Reply.objects.create(
        organisation=fields.pop("organisation", None) or make_organisation(),
        source_id=f"<{days_ago}@home.example>",
        received_at=NOW - timedelta(days=days_ago),
        raw="From: omar@home.example",
        **{"verdict": "applied", "participation": "ACCEPTED", **fields},
    )


def test_words_older_than_the_setting_go_and_the_answer_stays(settings):
    settings.REPLIES_KEPT_DAYS = 90
    old, new = make_reply(91), make_reply(89)
    assert forget_raw_replies(now=NOW) == 1
    assert forget_raw_replies(now=NOW) == 0
    old.refresh_from_db()
    new.refresh_from_db()
    assert (old.raw, old.participation, old.verdict) == ("", "ACCEPTED", "applied")
    assert new.raw


def test_what_waits_for_the_office_keeps_its_words_until_it_is_settled():
    waits = make_reply(400, verdict="review")
    assert forget_raw_replies(now=NOW) == 0
    Reply.objects.filter(pk=waits.pk).update(settled_at=NOW)
    assert forget_raw_replies(now=NOW) == 1


def test_it_stands_in_the_timetable():
    assert "scheduler.tasks.forget_raw_replies" in {wake["task"] for wake in TIMETABLE.values()}
