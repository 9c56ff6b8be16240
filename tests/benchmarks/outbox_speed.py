"""Messages a second from two workers into a mail server on this machine.

    python -m tests.benchmarks.outbox_speed [--messages 3000] [--workers 2]

Uses DATABASE_URL where it is set, else an SQLite database of its own. The workers, the database
and the mail server share the machine's cores.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FILL = """
import django; django.setup()
from django.utils import timezone
from scheduler.models import Message
from tests.make import make_organisation
office, now = make_organisation(), timezone.now()
Message.objects.bulk_create([
    Message(
        organisation=office, key=f'speed:{{n}}', template='on_the_way', to_name='Omar',
        to_address='omar@home.example', subject='We are on our way', body_text='Soon.\\n' * 20,
        body_html='<p>Soon.</p>' * 20, message_id=f'<speed-{{n}}@ebbmark.example>', next_try_at=now,
    )
    for n in range({messages})
], batch_size=500)
"""
WORK = """
import django; django.setup()
from scheduler.messages import outbox
while outbox.drain().sent:
    pass
"""


class Taker(asyncio.Protocol):
    """The least of a mail server: says yes to everything, and counts."""

    taken = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self.transport, self.waiting, self.in_data = transport, b"", False
        self.say(b"220 ready")

    def say(self, words: bytes) -> None:
        self.transport.write(words + b"\r\n")

    def data_received(self, data: bytes) -> None:
        self.waiting += data
        if self.in_data:
            if self.waiting.endswith(b"\r\n.\r\n"):
                self.waiting, self.in_data = b"", False
                Taker.taken += 1
                self.say(b"250 taken")
            return
        while b"\r\n" in self.waiting and not self.in_data:
            line, self.waiting = self.waiting.split(b"\r\n", 1)
            self.in_data = line.upper() == b"DATA"
            self.say(b"354 go on" if self.in_data else b"250 OK")


def listen() -> int:
    """Start the mail server in a thread; gives its port."""
    loop = asyncio.new_event_loop()
    server = loop.run_until_complete(loop.create_server(Taker, "127.0.0.1", 0))
    threading.Thread(target=loop.run_forever, daemon=True).start()
    port: int = server.sockets[0].getsockname()[1]
    return port


def run(script: str, environment: dict[str, str]) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, env=environment)


def measure(messages: int, workers: int, folder: str) -> tuple[float, int]:
    """Seconds from the first message taken to the last, and how many were taken."""
    environment = {
        "DATABASE_URL": f"sqlite:///{folder}/speed.sqlite3",
        **os.environ,
        "EBBMARK_DATA": folder,
        "DJANGO_SETTINGS_MODULE": "scheduler.settings",
        "EMAIL_URL": f"smtp://127.0.0.1:{listen()}",
        "LOG_LEVEL": "ERROR",
    }
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=environment, check=True
    )
    if run(FILL.format(messages=messages), environment).wait():
        sys.exit("The outbox could not be filled.")
    running = [run(WORK, environment) for _ in range(workers)]
    while not Taker.taken:
        time.sleep(0.001)
    began, last = time.perf_counter(), 0.0
    while any(worker.poll() is None for worker in running):
        before = Taker.taken
        time.sleep(0.02)
        if Taker.taken > before:
            last = time.perf_counter()
    return last - began, Taker.taken


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--messages", type=int, default=3000)
    options.add_argument("--workers", type=int, default=2)
    asked = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        seconds, taken = measure(asked.messages, asked.workers, folder)
    load = os.getloadavg()[0]
    print(  # noqa: T201
        f"{taken} messages by {asked.workers} workers in {seconds:.1f} s: {taken / seconds:.0f}/s "
        f"({os.cpu_count()} cores, load {load:.1f} when done)"
    )


if __name__ == "__main__":
    main()
