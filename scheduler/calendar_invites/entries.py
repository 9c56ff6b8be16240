"""What a calendar entry says, and when a change to it asks the other side to answer again."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal

Status = Literal["CONFIRMED", "TENTATIVE", "CANCELLED"]
Answer = Literal["NEEDS-ACTION", "ACCEPTED", "DECLINED", "TENTATIVE"]
CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]+")
# One mailbox in the dot-atom form of RFC 5322 §3.2.3: nothing that could end a header, open a
# parameter or add a second recipient.
MAILBOX = re.compile(r"[\w!#$%&'*+/=?^`{|}~.-]{1,64}@[\w-]+(\.[\w-]+)*", re.ASCII)
LONGEST_ADDRESS = 254  # RFC 5321 §4.5.3.1.3 less the angle brackets


def one_line(text: str) -> str:
    """Text for a header or a single-line property: control characters become one space."""
    return CONTROL.sub(" ", text).strip()


def many_lines(text: str) -> str:
    """Text that may keep its line breaks, every other control character removed."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join(CONTROL.sub(" ", line).rstrip() for line in lines).strip()


def mailbox(address: str) -> str:
    """An address as a mail server takes it: trimmed, the domain in its ASCII form.

    Raises ValueError where it is not one mailbox.
    """
    user, at, domain = address.strip().rpartition("@")
    try:
        ascii_domain = domain.encode("idna").decode("ascii")
    except UnicodeError as error:
        msg = f"{address[:80]!r} is not one e-mail address"
        raise ValueError(msg) from error
    written = user + at + ascii_domain
    if len(written) > LONGEST_ADDRESS or not MAILBOX.fullmatch(written):
        msg = f"{address[:80]!r} is not one e-mail address"
        raise ValueError(msg)
    return written


@dataclass(frozen=True, slots=True)
class Party:
    """Somebody with a mailbox: the organizer or the one invited."""

    address: str
    name: str = ""

    def __post_init__(self) -> None:
        if mailbox(self.address) != self.address:
            msg = f"{self.address[:80]!r} is not written as a mail server takes it"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Entry:
    """One calendar entry.

    `starts` and `ends` are aware instants, or dates for a visit known only by its day; then
    `ends` is the day after the last. `position` is latitude and longitude in degrees.
    `stamp` and `sequence` are kept with the row, never taken from the clock while writing.
    """

    uid: str
    sequence: int
    stamp: datetime
    starts: datetime | date
    ends: datetime | date
    zone: str
    summary: str
    description: str = ""
    location: str = ""
    position: tuple[float, float] | None = None
    url: str = ""
    status: Status = "CONFIRMED"
    remind_before: tuple[timedelta, ...] = ()

    def __post_init__(self) -> None:
        if isinstance(self.starts, datetime) is not isinstance(self.ends, datetime):
            msg = "start and end must both be days or both be times"
            raise ValueError(msg)
        if isinstance(self.starts, datetime) and self.starts.tzinfo is None:
            msg = "a start needs its time zone"
            raise ValueError(msg)
        if self.ends <= self.starts:
            msg = "the end must come after the start"
            raise ValueError(msg)
        if self.sequence < 0 or self.stamp.utcoffset() != timedelta():
            msg = "sequence counts from 0 and the stamp is in UTC"
            raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class Terms:
    """What the one invited agreed to. Any change here asks for a new answer."""

    starts: datetime
    ends: datetime
    location: str
    status: Status = "CONFIRMED"


def sequence_after(sequence: int, *, before: Terms, after: Terms) -> int:
    """The SEQUENCE of the next revision (RFC 5546 §2.1.4).

    It rises when start, end, place or status change, and stays when only words do.
    """
    return sequence if before == after else sequence + 1


def later_stamp(previous: datetime, now: datetime) -> datetime:
    """A DTSTAMP that is newer than the previous one, even within one second.

    Receivers order equal SEQUENCEs by it (RFC 5546 §2.1.5) and it carries whole seconds.
    """
    return max(now.astimezone(UTC).replace(microsecond=0), previous + timedelta(seconds=1))
