"""The next owner hears that the crew has left the stop before."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from scheduler.messages.next_stop import tell_next_stop
from scheduler.models import Message, Stop
from tests.make import make_user
from tests.scheduler.messages.visits import NOW, make_owned_system, make_round, make_visit

pytestmark = pytest.mark.django_db
MORNING = NOW.replace(day=18, hour=8)


@pytest.fixture
def two_stops():
    """A round with two visits, two hours apart; the crew is at the first."""
    first = make_visit(MORNING)
    system = make_owned_system(organisation=first.job.organisation)[0]
    second = make_visit(MORNING + timedelta(hours=2, minutes=38), system=system)
    planned = make_round(first, second)
    here, there = planned.stops.order_by("position")
    Stop.objects.filter(pk=here.pk).update(arrived_at=MORNING)
    return here, there, second


def test_the_next_owner_hears_how_long_it_takes(two_stops):
    here, _, second = two_stops
    (message,) = tell_next_stop(left=here, now=MORNING + timedelta(hours=2))
    assert (message.job, message.template) == (second.job, "on_the_way")
    assert "40 minutes" in message.body_text  # 38 as planned, to the nearest five
    assert tell_next_stop(left=here, now=MORNING + timedelta(hours=2)) == []


def test_nobody_is_told_before_a_tip_after_the_last_stop_or_of_a_visit_called_off(two_stops):
    here, there, second = two_stops
    now = MORNING + timedelta(hours=2)
    assert tell_next_stop(left=there, now=now) == []
    second.cancelled_at = now
    second.save()
    assert tell_next_stop(left=here, now=now) == []
    Stop.objects.filter(pk=there.pk).update(kind=Stop.Kind.TIP, job=None)
    assert tell_next_stop(left=here, now=now) == []


def test_pressing_left_tells_the_next_once(client, time_machine, two_stops):
    here, _, _ = two_stops
    time_machine.move_to(MORNING + timedelta(hours=2), tick=False)
    client.force_login(make_user(here.round.organisation, "crew"))
    for _ in range(2):
        client.post(reverse("scheduler:stop_left", args=[here.public_id]))
    assert Message.objects.filter(template="on_the_way").count() == 1
