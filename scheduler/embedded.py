"""Web server, Celery worker and Celery beat as threads of one process: a whole site for a desk.

With the memory broker the queue is lost when the process ends. Nothing a person would miss is
lost with it: what is due stands in the database, and every start wakes all recurring work once.
"""

import logging
import os
import signal
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

from celery import beat
from celery.worker import WorkController
from celery.worker import state as worker_state
from waitress.server import create_server

from scheduler.celery import app
from scheduler.timetable import TIMETABLE
from scheduler.wsgi import application

logger = logging.getLogger(__name__)

WEB_THREADS = 8
WORK_THREADS = 2
LARGEST_REQUEST_BYTES = 64 * 1024 * 1024
SECONDS_TO_FINISH = 10.0
LAST_PORT = 65_535


class AddressUnavailableError(Exception):
    """Nothing can listen at the address, with the reason in words."""


def listen(host: str, port: int) -> socket.socket:
    """Take the address before anything else is begun, so that a taken port costs no wait.

    Raises:
        AddressUnavailableError: the port is taken or not allowed, or the host is not ours.
    """
    if not 0 <= port <= LAST_PORT:
        message = f"There is no port {port}: they end at {LAST_PORT}."
        raise AddressUnavailableError(message)
    try:
        family, kind, protocol, _name, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM
        )[0]
        place = socket.socket(family, kind, protocol)
    except OSError as error:
        message = f"{host} is not an address of this machine: {error}"
        raise AddressUnavailableError(message) from error
    try:
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        place.bind(address)
    except PermissionError as error:
        place.close()
        message = f"This user may not use port {port}. Ports from 1024 up are free to all."
        raise AddressUnavailableError(message) from error
    except OSError as error:
        place.close()
        message = (
            f"Port {port} on {host} cannot be used ({error.strerror}). If another program has it, "
            f"stop that one or choose another port: --port {port + 1}"
        )
        raise AddressUnavailableError(message) from error
    return place


def serve(place: socket.socket, *, when_ready: Callable[[], None]) -> None:
    """Answer at the address and do the background work until told to stop.

    `when_ready` is called as soon as a request would be answered.
    """
    server = create_server(
        application,
        sockets=[place],
        threads=WEB_THREADS,
        max_request_body_size=LARGEST_REQUEST_BYTES,
        ident=None,
    )
    with stopped_by_signals(), background_work():
        when_ready()
        server.run()
    server.close()


@contextmanager
def stopped_by_signals() -> Iterator[None]:
    """Let SIGTERM stop the server as Ctrl-C does; further signals do not break the stopping."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_IGN)
        raise KeyboardInterrupt

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def background_work() -> Iterator[None]:
    """Run a worker and a beat beside the caller, and wait for both to finish their task."""
    worker = WorkController(
        app=app,
        pool="threads",
        concurrency=WORK_THREADS,
        without_heartbeat=True,
        without_mingle=True,
        without_gossip=True,
    )
    working = threading.Thread(target=worker.start, name="worker", daemon=True)
    # The plain scheduler keeps no file: a restart wakes everything, which costs a moment.
    ticking: Any = beat.EmbeddedService(app, thread=True, scheduler_cls="celery.beat:Scheduler")
    working.start()
    ticking.start()
    wake_everything()
    try:
        yield
    finally:
        stop_worker(os.EX_OK)
        ticking.stop()
        working.join(timeout=SECONDS_TO_FINISH)
        if working.is_alive():
            logger.warning(
                "A task did not finish in %s s; it will be done again", SECONDS_TO_FINISH
            )
        stop_worker(None)


def stop_worker(exit_code: int | None) -> None:
    """Ask the worker of this process to end; None lets a later one run."""
    worker_state.should_stop = exit_code  # type: ignore[assignment]  # Celery's own use


def wake_everything() -> None:
    """Wake all recurring work: what fell due while nothing ran is waiting in the database."""
    for wake in TIMETABLE.values():
        app.send_task(wake["task"])
