"""Set up an organisation with its first member."""

from __future__ import annotations

import getpass
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from customers.founding import CannotFound, found_organisation


class Command(BaseCommand):
    help = "Set up an organisation and its first member, who works in the office."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", help="Name of the firm")
        parser.add_argument("--email", required=True, help="E-mail address to sign in with")
        parser.add_argument("--person", default="", help="Name of that person")
        parser.add_argument("--profile", default="england", help="Country profile")
        parser.add_argument(
            "--password-stdin", action="store_true", help="Read the password from standard input"
        )

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        try:
            organisation, user = found_organisation(
                name=options["name"],
                profile=options["profile"],
                email=options["email"],
                person=options["person"],
            )
        except CannotFound as fault:
            raise CommandError(str(fault)) from fault
        if not user.has_usable_password():
            password = input() if options["password_stdin"] else getpass.getpass("Password: ")
            try:
                validate_password(password, user)
            except ValidationError as fault:
                raise CommandError(" ".join(fault.messages)) from fault
            user.set_password(password)
            user.save(update_fields=["password"])
        self.stdout.write(f"{organisation} is set up; {user.email} may sign in.")
