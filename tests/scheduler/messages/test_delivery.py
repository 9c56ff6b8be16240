"""Real mail over a real socket to a sink on this machine, and mail into a folder."""

from __future__ import annotations

import email
import email.policy
import socket
from collections.abc import Iterator
from datetime import timedelta

import pytest
from aiosmtpd.controller import Controller

from scheduler.messages import telling
from scheduler.messages.outbox import drain
from scheduler.models import Message
from tests.scheduler.messages.visits import NOW, make_message, make_visit

pytestmark = pytest.mark.django_db


class MailServer:
    """What a mail server would say; keeps the octets of what it took."""

    def __init__(self) -> None:
        self.taken: list[bytes] = []
        self.answers: list[str] = []
        self.refused = "nobody@home.example"

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        if address == self.refused:
            return "550 5.1.1 no such mailbox"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        answer = self.answers.pop(0) if self.answers else "250 OK"
        if answer.startswith("250"):
            self.taken.append(envelope.original_content)
        return answer


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def server(settings) -> Iterator[MailServer]:
    handler = MailServer()
    port = free_port()
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    settings.MAIL_IS_SENT = True
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "127.0.0.1"
    settings.EMAIL_PORT = port
    settings.EMAIL_TIMEOUT = 5
    yield handler
    controller.stop()


def states() -> set[str]:
    return set(Message.objects.values_list("state", flat=True))


def test_an_invitation_arrives_octet_for_octet(server):
    telling.tell_appointment_agreed(appointment=make_visit(), now=NOW)
    drain(clock=lambda: NOW)
    (mail,) = server.taken
    message = email.message_from_bytes(mail, policy=email.policy.default)
    (calendar,) = [part for part in message.walk() if part.get_content_type() == "text/calendar"]
    assert calendar.get_payload(decode=True) == Message.objects.get().calendar_text.encode()
    assert calendar.get_param("method") == "REQUEST"
    assert message["From"].addresses[0].addr_spec.startswith("bookings+")


def test_one_connection_carries_a_batch(server):
    for _ in range(20):
        make_message()
    result = drain(clock=lambda: NOW)
    assert (result.sent, len(server.taken)) == (20, 20)
    assert len({email.message_from_bytes(mail)["Message-ID"] for mail in server.taken}) == 20


def test_busy_comes_back_and_refused_is_final_and_the_rest_goes(server):
    server.answers = ["451 4.3.0 try later"]
    busy = make_message()
    nobody = make_message(to_address="nobody@home.example")
    fine = make_message()
    drain(clock=lambda: NOW)
    for message in (busy, nobody, fine):
        message.refresh_from_db()
    assert [message.state for message in (busy, nobody, fine)] == ["waiting", "dead", "sent"]
    assert "no such mailbox" in nobody.last_error
    drain(clock=lambda: busy.next_try_at)
    assert len(server.taken) == 2


def test_a_message_the_server_took_before_a_crash_arrives_twice_as_the_same_octets(server):
    make_message()
    drain(clock=lambda: NOW)
    # As after SIGKILL between the server's 250 and our mark.
    Message.objects.update(state="sending", claimed_by="gone", lease_until=NOW, sent_at=None)
    drain(clock=lambda: NOW)
    assert len(server.taken) == 2
    assert server.taken[0] == server.taken[1]


def test_without_a_server_everything_waits(settings):
    settings.MAIL_IS_SENT = True
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1  # nothing listens there
    make_message()
    result = drain(clock=lambda: NOW)
    assert (result.sent, result.postponed) == (0, 1)
    message = Message.objects.get()
    assert (message.state, message.attempts) == ("waiting", 0)
    assert "refused" in message.last_error.lower()


def test_a_server_that_hangs_up_is_asked_again(server):
    server.answers = ["421 4.3.2 closing", "250 OK"]
    make_message()
    drain(clock=lambda: NOW)
    assert states() == {"waiting"}
    drain(clock=lambda: NOW + timedelta(hours=1))
    assert states() == {"sent"}


def test_a_file_a_message_where_no_server_is_set_up(settings, tmp_path):
    settings.MAIL_IS_SENT, settings.MAIL_FOLDER = False, tmp_path / "mail"
    telling.tell_appointment_agreed(appointment=make_visit(), now=NOW)
    make_message()
    assert drain(clock=lambda: NOW).sent == 2
    files = sorted((tmp_path / "mail").iterdir())
    assert [file.suffix for file in files] == [".eml", ".eml"]
    subjects = {email.message_from_bytes(file.read_bytes())["Subject"] for file in files}
    assert "Done" in subjects


def test_a_line_of_one_full_stop_does_not_end_the_message(server):
    # RFC 5321 §4.5.2: a line of one full stop must not end the message.
    make_message(body_text="one\n.\n..\nend\n")
    drain(clock=lambda: NOW)
    message = email.message_from_bytes(server.taken[0], policy=email.policy.default)
    assert message.get_body(("plain",)).get_content() == "one\n.\n..\nend\n"
