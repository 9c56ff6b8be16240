"""Workers killed at random while messages go out to a server that is busy one time in ten."""

from __future__ import annotations

import os
import random
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller

from tests.scheduler.messages.drain_worker import ROOT

WORKER = Path(__file__).with_name("drain_worker.py")
MESSAGES = 120
GIVE_UP_AFTER = 240  # seconds; on an idle machine it takes about fifteen


class BusyServer:
    """Takes nine of ten; keeps what it took by Message-ID."""

    def __init__(self) -> None:
        self.taken: list[bytes] = []
        self.luck = random.Random(7)

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        if self.luck.random() < 0.1:
            return "451 4.3.0 busy"
        self.taken.append(envelope.original_content)
        return "250 OK"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def office(tmp_path):
    """A site of its own with a full outbox: its environment, and the path of its database."""
    environment = {
        **os.environ,
        "EBBMARK_DATA": str(tmp_path),
        "DATABASE_URL": f"sqlite:///{tmp_path}/kills.sqlite3",
        "DJANGO_SETTINGS_MODULE": "scheduler.settings",
        "LOG_LEVEL": "ERROR",
    }
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=environment, check=True
    )
    fill = (
        "import django; django.setup()\n"
        "from tests.scheduler.messages.visits import make_message\n"
        "from tests.make import make_organisation\n"
        "from django.utils import timezone\n"
        "from django.db import transaction\n"
        "office, now = make_organisation(), timezone.now()\n"
        "with transaction.atomic():\n"
        f"    for _ in range({MESSAGES}):\n"
        "        make_message(organisation=office, next_try_at=now, template='on_the_way')\n"
    )
    subprocess.run([sys.executable, "-c", fill], cwd=ROOT, env=environment, check=True)
    return environment, tmp_path / "kills.sqlite3"


def states(database: Path) -> Counter[str]:
    with sqlite3.connect(database, timeout=20) as connection:
        found = connection.execute("SELECT state, COUNT(*) FROM scheduler_message GROUP BY state")
        return Counter(dict(found.fetchall()))


def start_worker(environment: dict[str, str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, str(WORKER)], cwd=ROOT, env=environment)


def drain_under_fire(environment: dict[str, str], database: Path) -> int:
    """Keep two workers running and kill one of them every so often; gives the number killed."""
    workers = [start_worker(environment) for _ in range(2)]
    luck, killed, end = random.Random(3), 0, time.monotonic() + GIVE_UP_AFTER
    try:
        while states(database)["sent"] < MESSAGES and time.monotonic() < end:
            time.sleep(luck.uniform(0.3, 0.9))
            if killed < 8 and states(database)["sent"] > MESSAGES * killed // 12:
                doomed = workers.pop(luck.randrange(2))
                doomed.send_signal(signal.SIGKILL)
                doomed.wait()
                workers.append(start_worker(environment))
                killed += 1
    finally:
        for worker in workers:
            worker.kill()
            worker.wait()
    return killed


def test_nothing_is_lost_and_a_repeat_is_the_same_bytes(office):
    environment, database = office
    server = BusyServer()
    port = free_port()
    controller = Controller(server, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        killed = drain_under_fire(
            {**environment, "EMAIL_URL": f"smtp://127.0.0.1:{port}"}, database
        )
    finally:
        controller.stop()
    assert states(database) == {"sent": MESSAGES}
    assert killed >= 3
    copies = Counter(
        mail.split(b"Message-ID: ", 1)[1].split(b"\r\n", 1)[0] for mail in server.taken
    )
    assert len(copies) == MESSAGES
    # A kill between the server's yes and our mark cannot be told from one before it: at most the
    # one message in hand goes again, as the same bytes.
    assert len(server.taken) - MESSAGES <= killed
    assert len(set(server.taken)) == MESSAGES
