"""The whole site in one process, started for real on a free port of this machine."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from scheduler import embedded

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_SECONDS = 60


@contextmanager
def taken_port() -> Iterator[int]:
    with socket.create_server(("127.0.0.1", 0)) as other:
        yield other.getsockname()[1]


@contextmanager
def running(data: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """Run `serve` on a data folder of its own, away from the tests' settings and database."""
    foreign = {"DATABASE_URL", "REDIS_URL", "EMAIL_URL", "DJANGO_SETTINGS_MODULE", "SITE_ADDRESS"}
    kept = {name: value for name, value in os.environ.items() if name not in foreign}
    with subprocess.Popen(
        [sys.executable, "manage.py", "serve", *arguments],
        cwd=ROOT,
        env={**kept, "EBBMARK_DATA": str(data), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def address_said_by(process: subprocess.Popen[str]) -> tuple[str, int]:
    """Read what the process says until it names its address."""
    assert process.stdout is not None
    said = ""
    for line in process.stdout:
        said += line
        if "Ebbmark is at http://" in line:
            host, _, port = line.rpartition("//")[2].strip().rstrip("/").rpartition(":")
            return host, int(port)
    pytest.fail(said)


def answer(address: tuple[str, int], path: str) -> tuple[int, bytes]:
    with closing(http.client.HTTPConnection(*address, timeout=PATIENCE_SECONDS)) as connection:
        connection.request("GET", path)
        response = connection.getresponse()
        return response.status, response.read()


def health_when_settled(address: tuple[str, int]) -> dict[str, bool]:
    """Ask until all recurring work has ended once, or patience ends."""
    end = time.monotonic() + PATIENCE_SECONDS
    while True:
        found: dict[str, bool] = json.loads(answer(address, "/health/")[1])
        if found["well"] or time.monotonic() > end:
            return found
        time.sleep(0.2)


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_answers_works_stops_cleanly_and_starts_again(how: signal.Signals, tmp_path: Path):
    for _start in ("first", "second"):
        with running(tmp_path, "--port", "0") as process:
            address = address_said_by(process)
            assert answer(address, "/accounts/login/")[0] == 200
            assert answer(address, "/static/scheduler/css/page.css")[0] == 200
            assert health_when_settled(address)["well"]
            process.send_signal(how)
            said, _ = process.communicate(timeout=PATIENCE_SECONDS)
            assert said.rstrip().endswith("Stopped.")
            assert "Traceback" not in said
            assert process.returncode == 0


def test_a_process_that_was_killed_leaves_nothing_that_stops_the_next(tmp_path: Path):
    with running(tmp_path, "--port", "0") as process:
        address = address_said_by(process)
    with running(tmp_path, "--port", str(address[1])) as process:
        assert address_said_by(process) == address
        assert health_when_settled(address)["well"]


def test_a_taken_port_is_said_in_one_line(tmp_path: Path):
    with taken_port() as port, running(tmp_path, "--port", str(port)) as process:
        said, _ = process.communicate(timeout=PATIENCE_SECONDS)
        assert process.returncode == 1
    assert f"Port {port} on 127.0.0.1 cannot be used" in said
    assert f"--port {port + 1}" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("host", ["not a host", "203.0.113.7"])
def test_a_host_that_is_not_this_machine_is_refused(host: str):
    with pytest.raises(embedded.AddressUnavailableError):
        embedded.listen(host, 0)


def test_a_port_that_no_machine_has_is_refused():
    with pytest.raises(embedded.AddressUnavailableError):
        embedded.listen("127.0.0.1", 70_000)
