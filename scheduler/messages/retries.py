"""What a failed attempt means: try again later, or give up and say why."""

import hashlib
import smtplib
from dataclasses import dataclass
from datetime import timedelta

FIRST_WAIT = timedelta(seconds=30)
LONGEST_WAIT = timedelta(hours=4)
MOST_ATTEMPTS = 12  # with the waits above: about a day and a half of trying


@dataclass(frozen=True, slots=True)
class Failure:
    """A failed attempt in words, and whether another could succeed."""

    reason: str
    is_final: bool


def wait_before(attempt: int, key: str) -> timedelta:
    """Wait before attempt number `attempt` + 1: doubling, capped, spread by up to a quarter.

    The spread comes from the message's key, so many messages that failed together do not
    return together, and the same message waits the same in every run.
    """
    steps = min(attempt - 1, 16)
    plain = min(FIRST_WAIT * int(2**steps), LONGEST_WAIT)
    digest = hashlib.sha256(f"{key} {attempt}".encode()).digest()
    return plain + plain * (digest[0] / 255 / 4)


def read_failure(error: Exception, attempt: int) -> Failure:
    """Tell a refusal from a hindrance (RFC 5321 §4.2.1: 5yz is permanent, 4yz transient)."""
    code, said = _answer(error)
    words = f"{code} {said}".strip() if code else f"{type(error).__name__}: {error}"
    if isinstance(error, ValueError) or 500 <= code < 600:
        return Failure(words[:500], is_final=True)
    if attempt >= MOST_ATTEMPTS:
        return Failure(f"Given up after {attempt} attempts. Last: {words}"[:500], is_final=True)
    return Failure(words[:500], is_final=False)


def _answer(error: Exception) -> tuple[int, str]:
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, said = next(iter(error.recipients.values()), (0, b""))
        return code, _readable(said)
    # A wrong password answers 535, but it is the site's fault and can be mended: keep trying.
    if isinstance(error, smtplib.SMTPResponseException) and not isinstance(
        error, smtplib.SMTPAuthenticationError
    ):
        return error.smtp_code, _readable(error.smtp_error)
    return 0, ""


def _readable(said: bytes | str) -> str:
    return said.decode(errors="replace") if isinstance(said, bytes) else said
