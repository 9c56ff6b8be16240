"""Text messages, as recorded by a gateway on this machine."""

from __future__ import annotations

import json
import threading
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from customers.models import ContactPreference, Person
from scheduler.messages import telling
from scheduler.messages.ladder import plan_reminders
from scheduler.messages.outbox import drain
from scheduler.messages.own_ladder import set_telling_rules
from scheduler.messages.texts import mobile_number
from scheduler.models import Message
from tests.make import make_user
from tests.scheduler.messages.visits import NOW, Sink, make_owned_system, make_visit

pytestmark = pytest.mark.django_db
# The example of a British mobile number in libphonenumber's metadata; nobody has it.
OMARS = "07400 123456"


class Gateway(ThreadingHTTPServer):
    """Answers as told, and records what it was asked."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Recorder)
        self.calls: list[tuple[dict[str, str], dict[str, str]]] = []
        self.answers: list[int] = []


class Recorder(BaseHTTPRequestHandler):
    def do_POST(self) -> None:
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        self.server.calls.append((dict(self.headers), body))
        self.send_response(self.server.answers.pop(0) if self.server.answers else 202)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *_words: object) -> None:
        pass


@pytest.fixture
def gateway(settings):
    server = Gateway()
    threading.Thread(target=server.serve_forever, daemon=True).start()
    settings.SMS_GATEWAY_URL = f"http://127.0.0.1:{server.server_port}/send"
    settings.SMS_GATEWAY_TOKEN, settings.SMS_SENDER = "secret", "Larkholt"
    yield server
    server.shutdown()
    server.server_close()


@pytest.fixture
def visit():
    """A visit to Omar, whose office prefers text messages and who agreed to them."""
    system, omar = make_owned_system()
    omar.phone = OMARS
    omar.save()
    say(omar, allowed=True)
    by = make_user(system.organisation)
    hours = {"day_begins": NOW.time().replace(hour=8), "day_ends": NOW.time().replace(hour=20)}
    set_telling_rules(organisation=system.organisation, order="sms", by=by, **hours)
    return make_visit(system=system)


def say(person, *, allowed):
    ContactPreference.objects.create(
        person=person,
        channel="sms",
        message_class="service",
        allowed=allowed,
        recorded_at=NOW,
        how="by telephone",
    )


def on_the_way(visit):
    moment = visit.starts_at - timedelta(minutes=30)
    telling.tell_on_the_way(appointment=visit, now=moment, minutes=30)
    return moment


def test_the_gateway_gets_number_sender_words_and_a_key_that_marks_a_repeat(gateway, visit):
    moment = on_the_way(visit)
    drain(clock=lambda: moment, post=Sink())
    (headers, body), message = gateway.calls[0], Message.objects.get()
    assert body == {
        "to": "+447400123456",
        "from": "Larkholt",
        "text": message.body_text,
        "reference": message.message_id,
    }
    assert headers["Authorization"] == "Bearer secret"
    assert headers["Idempotency-Key"] == message.message_id
    assert "30 minutes" in body["text"]
    assert "never ask you to open the tank" in body["text"]
    assert len(body["text"]) <= 480
    assert (message.channel, message.state) == ("sms", "sent")


@pytest.mark.parametrize(
    ("answer", "state"),
    [(400, "dead"), (422, "dead"), (429, "waiting"), (401, "waiting"), (503, "waiting")],
)
def test_a_refusal_is_final_and_a_hindrance_is_tried_again(gateway, visit, answer, state):
    gateway.answers = [answer]
    moment = on_the_way(visit)
    drain(clock=lambda: moment, post=Sink())
    message = Message.objects.get()
    assert message.state == state
    assert str(answer) in message.last_error
    drain(clock=lambda: moment + timedelta(minutes=2), post=Sink())
    message.refresh_from_db()
    assert message.state == ("dead" if state == "dead" else "sent")


def test_only_short_news_is_texted(gateway, visit):
    telling.tell_appointment_agreed(appointment=visit, now=NOW)
    for day in range(12):
        plan_reminders(now=NOW + timedelta(days=day))
    channels = dict(Message.objects.values_list("template", "channel"))
    assert channels == {"invite": "email", "reminder_week": "email", "reminder_day": "sms"}


@pytest.mark.parametrize("why", ["never asked", "took it back", "no gateway", "a house line"])
def test_who_did_not_agree_or_cannot_get_a_text_is_mailed(gateway, visit, settings, why):
    omar = visit.job.system.premises.parties.get().person
    if why == "never asked":
        omar.preferences.all().delete()
    elif why == "took it back":
        say(omar, allowed=False)
    elif why == "no gateway":
        settings.SMS_GATEWAY_URL = ""
    else:
        Person.objects.filter(pk=omar.pk).update(phone="01632 960123")
    on_the_way(visit)
    assert Message.objects.get().channel == "email"


def test_a_refusal_between_writing_and_sending_stops_the_text(gateway, visit):
    moment = on_the_way(visit)
    say(visit.job.system.premises.parties.get().person, allowed=False)
    drain(clock=lambda: moment, post=Sink())
    assert gateway.calls == []
    assert Message.objects.get().state == "dropped"


def test_an_address_without_encryption_is_not_used(visit, settings):
    settings.SMS_GATEWAY_URL = "http://texts.example/send"
    moment = on_the_way(visit)
    drain(clock=lambda: moment, post=Sink())
    assert "over https" in Message.objects.get().last_error


@pytest.mark.parametrize(
    ("typed", "country", "expected"),
    [
        (OMARS, "GB", "+447400123456"),
        ("+44 7400 123456", "", "+447400123456"),
        ("01632 960123", "GB", ""),  # a house line
        ("ring the pub", "GB", ""),
        ("", "GB", ""),
    ],
)
def test_only_a_mobile_number_gets_a_text(typed, country, expected):
    # E.164 form; ranges as in Google's libphonenumber metadata.
    assert mobile_number(typed, country) == expected
