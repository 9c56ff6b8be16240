"""What must survive: workers, queues and whole sites killed while 500 messages go out.

Each test runs a site of its own in processes of its own, against a mail server that is busy one
time in ten, and counts what that server took.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller

from tests.scheduler.messages.quick_site import ROOT

QUICK_SITE = Path(__file__).with_name("quick_site.py")
MESSAGES = 500
GIVE_UP_AFTER = 240  # seconds; on an idle machine each test takes about fifteen
FILL = f"""
import django; django.setup()
from tests.scheduler.messages.visits import make_message
from tests.make import make_organisation
from django.utils import timezone
from django.db import transaction
office, now = make_organisation(), timezone.now()
with transaction.atomic():
    for _ in range({MESSAGES}):
        make_message(organisation=office, next_try_at=now, template='on_the_way')
"""


class BusyServer:
    """Takes nine of ten, each after a moment; keeps what it took."""

    def __init__(self) -> None:
        self.taken: list[bytes] = []
        self.luck = random.Random(7)

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        if self.luck.random() < 0.1:
            return "451 4.3.0 busy"
        self.taken.append(envelope.original_content)
        return "250 OK"

    def copies(self) -> Counter[bytes]:
        return Counter(
            mail.split(b"Message-ID: ", 1)[1].split(b"\r\n", 1)[0] for mail in self.taken
        )


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class OwnSite:
    """A site with a full outbox in a folder of its own."""

    folder: Path
    environment: dict[str, str]

    def start(self, part: str, number: int = 0) -> subprocess.Popen[bytes]:
        folder = self.folder / f"{part}-{number}"
        folder.mkdir(exist_ok=True)
        with (folder / "said").open("ab") as said:  # what it says while its queue is gone
            return subprocess.Popen(
                [sys.executable, str(QUICK_SITE), part, str(folder)],
                cwd=ROOT,
                env=self.environment,
                stdout=said,
                stderr=said,
            )

    def states(self) -> Counter[str]:
        query = "SELECT state, COUNT(*) FROM scheduler_message GROUP BY state"
        with sqlite3.connect(self.folder / "site.sqlite3", timeout=20) as connection:
            return Counter(dict(connection.execute(query).fetchall()))

    def wait_for(self, sent: int) -> None:
        end = time.monotonic() + GIVE_UP_AFTER
        while self.states()["sent"] < sent and time.monotonic() < end:
            time.sleep(0.1)

    def hold_back(self, messages: int) -> None:
        self._move_next_try(f"'9999-01-01' WHERE id <= {messages}")

    def let_go(self) -> None:
        self._move_next_try("'2000-01-01' WHERE next_try_at >= '9999'")

    def _move_next_try(self, to: str) -> None:
        with sqlite3.connect(self.folder / "site.sqlite3", timeout=20) as connection:
            connection.execute(f"UPDATE scheduler_message SET next_try_at = {to}")  # noqa: S608


@pytest.fixture(scope="module")
def full_outbox(tmp_path_factory) -> Path:
    """A database with the messages in it, to be copied."""
    folder = tmp_path_factory.mktemp("outbox")
    environment = environment_of(folder)
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=environment, check=True
    )
    subprocess.run([sys.executable, "-c", FILL], cwd=ROOT, env=environment, check=True)
    with sqlite3.connect(folder / "site.sqlite3") as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return folder / "site.sqlite3"


def environment_of(folder: Path, **more: str) -> dict[str, str]:
    foreign = {"REDIS_URL", "CACHE_URL", "SITE_ADDRESS"}
    return {
        **{name: value for name, value in os.environ.items() if name not in foreign},
        "EBBMARK_DATA": str(folder),
        "DATABASE_URL": f"sqlite:///{folder}/site.sqlite3",
        "DJANGO_SETTINGS_MODULE": "scheduler.settings",
        "LOG_LEVEL": "CRITICAL",
        **more,
    }


@pytest.fixture
def server() -> Iterator[tuple[BusyServer, int]]:
    busy, port = BusyServer(), free_port()
    controller = Controller(busy, hostname="127.0.0.1", port=port)
    controller.start()
    yield busy, port
    controller.stop()


@pytest.fixture
def own_site(tmp_path, full_outbox, server) -> OwnSite:
    shutil.copy(full_outbox, tmp_path / "site.sqlite3")
    return OwnSite(tmp_path, environment_of(tmp_path, EMAIL_URL=f"smtp://127.0.0.1:{server[1]}"))


@contextmanager
def ended_at_last(processes: list[subprocess.Popen[bytes]]) -> Iterator[None]:
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()


def kill_one_every_so_often(
    site: OwnSite, start: Callable[[], subprocess.Popen[bytes]], *, running: int, kills: int
) -> int:
    """Keep processes running and kill one at random after every so many messages; gives how many."""
    processes = [start() for _ in range(running)]
    luck, killed, end = random.Random(3), 0, time.monotonic() + GIVE_UP_AFTER
    with ended_at_last(processes):
        while (sent := site.states()["sent"]) < MESSAGES and time.monotonic() < end:
            time.sleep(luck.uniform(0.01, 0.1))
            if killed < kills and sent > MESSAGES * killed // (kills + 2):
                doomed = processes.pop(luck.randrange(running))
                doomed.send_signal(signal.SIGKILL)
                doomed.wait()
                processes.append(start())
                killed += 1
    return killed


def assert_nothing_lost(site: OwnSite, busy: BusyServer, most_twice: int) -> None:
    assert site.states() == {"sent": MESSAGES}
    assert len(busy.copies()) == MESSAGES
    # A kill between the server's yes and our mark cannot be told from one before it: at most the
    # one message in hand goes again, as the same bytes.
    assert len(busy.taken) - MESSAGES <= most_twice
    assert len(set(busy.taken)) == MESSAGES


def test_nothing_is_lost_when_workers_are_killed_at_random(own_site, server):
    killed = kill_one_every_so_often(own_site, lambda: own_site.start("drain"), running=2, kills=6)
    assert killed >= 3
    assert_nothing_lost(own_site, server[0], most_twice=killed)


def test_nothing_is_lost_when_the_whole_embedded_site_is_killed(own_site, server):
    # Its queue is in memory and dies with it: the outbox is what remembers.
    killed = kill_one_every_so_often(own_site, lambda: own_site.start("serve"), running=1, kills=2)
    assert killed == 2
    assert_nothing_lost(own_site, server[0], most_twice=killed)


@pytest.mark.service
@pytest.mark.skipif(shutil.which("redis-server") is None, reason="redis-server is not installed")
def test_nothing_is_lost_or_sent_twice_when_redis_dies_under_two_beats(own_site, server):
    port = free_port()
    own_site.environment["REDIS_URL"] = f"redis://127.0.0.1:{port}/0"
    own_site.hold_back(200)
    redis = start_redis(port)
    workers = [own_site.start("celery", number) for number in range(2)]
    with ended_at_last([redis, *workers]):
        own_site.wait_for(100)
        redis.kill()
        redis.wait()
        own_site.let_go()  # fell due while no queue ran
        redis = start_redis(port)
        with ended_at_last([redis]):
            own_site.wait_for(MESSAGES)
    assert_nothing_lost(own_site, server[0], most_twice=0)


def start_redis(port: int) -> subprocess.Popen[bytes]:
    words = f"redis-server --port {port} --bind 127.0.0.1 --appendonly no --loglevel warning"
    return subprocess.Popen([*words.split(), "--save", ""])
