"""One message as the bytes that go over the wire, the same bytes every time.

The structure is multipart/mixed( multipart/alternative( text/plain, text/html, text/calendar ),
application/ics ): the calendar part is the last alternative, and the copy is for programs that
look at attachments only. Parts are base64, so no relay may change an octet of them (RFC 6047
§2.5). Boundaries, Date and Message-ID come from the message itself, never from the clock.
"""

import base64
import hashlib
from dataclasses import dataclass
from datetime import datetime
from email.headerregistry import Address, HeaderRegistry, UnstructuredHeader
from email.message import EmailMessage, Message
from email.policy import SMTP, Policy, compat32
from email.utils import format_datetime
from typing import TypeAlias

from scheduler.calendar_invites.entries import Party, one_line

LONGEST_LINE = 998  # octets without the line break (RFC 5322 §2.1.1)


class UnfoldedHeader(UnstructuredHeader):
    """A header kept on one line: an address folded into encoded words is not found again."""

    name: str

    def fold(self, *, policy: Policy) -> str:
        line = f"{self.name}: {self}"
        if len(line) > LONGEST_LINE or not line.isascii():
            msg = f"{self.name} does not fit one line of {LONGEST_LINE} characters"
            raise ValueError(msg)
        return line + policy.linesep


def _headers() -> HeaderRegistry:
    registry = HeaderRegistry()
    for name in ("list-unsubscribe", "message-id"):
        registry.map_to_type(name, UnfoldedHeader)  # type: ignore[arg-type]  # made one by mixing in
    return registry


# 78 characters a line is recommended (RFC 5322 §2.1.1).
HEADERS = SMTP.clone(max_line_length=78, header_factory=_headers())
# Headers of parts are constants of ours: the plain policy writes them as they are.
PARTS = compat32.clone(linesep="\r\n", max_line_length=78)
Part: TypeAlias = "Message[str, str]"


@dataclass(frozen=True, slots=True)
class Letter:
    """Everything a message says, ready to be written down."""

    message_id: str
    written_at: datetime
    sender: Party
    recipient: Party
    subject: str
    text: str
    html: str = ""
    calendar_object: bytes = b""
    calendar_method: str = ""
    unsubscribe_url: str = ""
    reply_to: Party | None = None
    is_response: bool = False


def wire_bytes(letter: Letter) -> bytes:
    """The message with CRLF line ends, headers and all."""
    body = _alternative(letter)
    if letter.calendar_object:
        copy = _base64_part(letter.calendar_object, "application/ics", filename="visit.ics")
        body = _multipart("mixed", [body, copy])
    _set_boundaries(body, letter.message_id)
    head = _head(letter).as_bytes().removesuffix(b"\r\n")
    return head + body.as_bytes(policy=PARTS)


def _head(letter: Letter) -> EmailMessage:
    head = EmailMessage(HEADERS)
    head["From"] = _header_address(letter.sender)
    head["Reply-To"] = _header_address(letter.reply_to or Party(letter.sender.address))
    head["To"] = _header_address(letter.recipient)
    head["Subject"] = one_line(letter.subject)
    head["Date"] = format_datetime(letter.written_at)
    head["Message-ID"] = letter.message_id
    # RFC 3834 §5: what a timetable sends is generated, what answers a message is a reply.
    head["Auto-Submitted"] = "auto-replied" if letter.is_response else "auto-generated"
    if letter.unsubscribe_url:
        head["List-Unsubscribe"] = f"<{letter.unsubscribe_url}>"
        head["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"  # RFC 8058 §3.1
    head["MIME-Version"] = "1.0"
    return head


def _header_address(party: Party) -> Address:
    return Address(one_line(party.name), addr_spec=party.address)


def _alternative(letter: Letter) -> Part:
    parts = [_base64_part(letter.text.encode(), "text/plain", charset="utf-8")]
    if letter.html:
        parts.append(_base64_part(letter.html.encode(), "text/html", charset="utf-8"))
    if letter.calendar_object:
        parts.append(
            _base64_part(
                letter.calendar_object,
                "text/calendar",
                method=letter.calendar_method,
                charset="utf-8",
                component="VEVENT",
            )
        )
    return _multipart("alternative", parts)


def _multipart(kind: str, parts: list[Part]) -> Part:
    whole: Part = Message(PARTS)
    whole["Content-Type"] = f"multipart/{kind}"
    for part in parts:
        whole.attach(part)
    return whole


def _base64_part(content: bytes, kind: str, *, filename: str = "", **parameters: str) -> Part:
    part: Part = Message(PARTS)
    written = "".join(f'; {name}="{value}"' for name, value in parameters.items())
    part["Content-Type"] = kind + written
    part["Content-Transfer-Encoding"] = "base64"
    if filename:
        part["Content-Disposition"] = f'attachment; filename="{filename}"'
    part.set_payload(base64.encodebytes(content).decode("ascii"))
    return part


def _set_boundaries(message: Part, identity: str) -> None:
    multiparts = [part for part in message.walk() if part.is_multipart()]
    for depth, part in enumerate(multiparts):
        digest = hashlib.sha256(f"{identity} {depth}".encode()).hexdigest()
        part.set_boundary(f"=_{digest[:32]}")
