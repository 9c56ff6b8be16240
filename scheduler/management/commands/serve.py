"""Run the whole site in one process: web pages, background work and its timetable."""

import socket
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from scheduler import embedded
from scheduler.environment import env

ANY_HOST = {"0.0.0.0", "::"}  # noqa: S104  (compared with, not listened on)


class Command(BaseCommand):
    help = "Run web pages and background work in one process. Ctrl-C stops it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
        parser.add_argument("--port", type=int, default=8000, help="port to listen on")

    def handle(self, *_args: Any, **options: Any) -> None:
        try:
            place = embedded.listen(options["host"], options["port"])
        except embedded.AddressUnavailableError as why:
            raise CommandError(str(why)) from why
        with place:
            self.stdout.write("Bringing the database up to date …")
            self.stdout.flush()
            call_command("migrate", verbosity=0, interactive=False)
            address = be_reached_at(place)
            self.prepare()
            embedded.serve(place, when_ready=lambda: self.announce(address))
        self.stdout.write("Stopped.")

    def announce(self, address: str) -> None:
        self.stdout.write(self.style.SUCCESS(f"\nEbbmark is at {address}/"))
        self.introduce()
        self.stdout.write("Ctrl-C stops it.\n")
        self.stdout.flush()

    def prepare(self) -> None:
        """Do what has to be done before the first page is asked for."""

    def introduce(self) -> None:
        """Say what the person at the keyboard needs to know."""
        if not get_user_model()._default_manager.exists():  # noqa: SLF001  (Django's public name)
            self.stdout.write("Nobody can sign in yet: python3 manage.py add_organisation --help")
        if not settings.MAIL_IS_SENT:
            self.stdout.write(f"Mail is not sent but kept in {settings.MAIL_FOLDER}")


def be_reached_at(place: socket.socket) -> str:
    """Let links in messages and the host check follow where this process listens.

    Only one process runs here, and no request has been answered yet: the two settings may
    still be written.
    """
    host, port = place.getsockname()[:2]
    if host in ANY_HOST:
        host = socket.gethostname()
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, host]
    shown = f"[{host}]" if ":" in host else host
    if not env.str("SITE_ADDRESS", default=""):
        settings.SITE_ADDRESS = f"http://{shown}:{port}"
    return f"http://{shown}:{port}"
