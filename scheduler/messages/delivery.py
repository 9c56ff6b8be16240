"""Handing one message to the mail server, or to a folder where none is set up."""

import hashlib
import smtplib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend

CLOSING = 421  # the server ends the connection (RFC 5321 §4.2.3)


@dataclass(frozen=True, slots=True)
class Wire:
    """Finished bytes in the shape a mail backend asks for."""

    content: bytes

    def as_bytes(self, *_args: Any, **_options: Any) -> bytes:
        return self.content


class WrittenMail(EmailMessage):
    """A message that is already written: no backend may set its lines anew.

    Django would send the calendar part as 8bit without announcing it, and choose a new boundary
    each time; an invitation that is sent twice must be the same octets twice.
    """

    def __init__(self, content: bytes, *, sender: str, recipient: str) -> None:
        super().__init__(from_email=sender, to=[recipient])
        self.content = content

    def message(self, **_options: Any) -> Any:
        return Wire(self.content)


class PostClosed(Exception):
    """The mail server cannot be reached or does not let us in: no message is to blame."""


class PostSilent(PostClosed):
    """The server took a message up and fell silent: it may be the message, so it counts as tried."""


class Post(Protocol):
    """Something that takes a finished message; it raises where it could not."""

    def send(self, content: bytes, *, sender: str, recipient: str, name: str) -> None: ...


class Server:
    """The mail server of the settings, one connection for many messages."""

    def __init__(self, backend: BaseEmailBackend) -> None:
        self.backend = backend

    def send(self, content: bytes, *, sender: str, recipient: str, name: str) -> None:
        mail = WrittenMail(content, sender=sender, recipient=recipient)
        try:
            self.backend.open()
        except (OSError, smtplib.SMTPException) as error:
            raise PostClosed(f"{type(error).__name__}: {error}"[:300]) from error
        try:
            self.backend.send_messages([mail])
        except (smtplib.SMTPResponseException, smtplib.SMTPRecipientsRefused) as error:
            if getattr(error, "smtp_code", 0) == CLOSING:
                self.backend.close()
            raise  # the server answered: else the connection is still good
        except (OSError, smtplib.SMTPException) as error:
            self.backend.close()  # the next message tries a fresh connection
            if isinstance(error, TimeoutError) or isinstance(error.__context__, TimeoutError):
                raise PostSilent(f"The mail server fell silent: {error}"[:300]) from error
            raise


class Folder:
    """A folder with one .eml file a message, for offices without a mail server yet."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def send(self, content: bytes, *, sender: str, recipient: str, name: str) -> None:
        self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        file_name = hashlib.sha256(name.encode()).hexdigest()[:24]
        draft = self.folder / f".{file_name}.part"
        draft.write_bytes(content)
        draft.replace(self.folder / f"{file_name}.eml")


@contextmanager
def open_post() -> Iterator[Post]:
    """The way out of this site for as long as a batch takes."""
    if not settings.MAIL_IS_SENT:
        yield Folder(Path(settings.MAIL_FOLDER))
        return
    backend = get_connection()
    try:
        yield Server(backend)
    finally:
        backend.close()
