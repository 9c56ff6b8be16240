"""Text messages through any gateway that takes JSON over HTTPS."""

from __future__ import annotations

import json
import urllib.error
import urllib.request
from http import HTTPStatus

import phonenumbers
from django.conf import settings
from phonenumbers import PhoneNumberType

LONGEST_TEXT = 480  # characters: three messages on the way, one on the screen
TIME_LIMIT = 15.0
# Answers that may be different next time; every other 4xx is final.
TRY_AGAIN = {HTTPStatus.REQUEST_TIMEOUT, HTTPStatus.CONFLICT, HTTPStatus.TOO_MANY_REQUESTS}
TRY_AGAIN |= {HTTPStatus.UNAUTHORIZED, HTTPStatus.FORBIDDEN}  # the site's own fault: can be mended
SAFE = ("https://", "http://127.0.0.1:")
MOBILE = {PhoneNumberType.MOBILE, PhoneNumberType.FIXED_LINE_OR_MOBILE}


class GatewayRefused(ValueError):
    """The gateway will never take this message."""


def mobile_number(typed: str, country: str) -> str:
    """A number as +447400123456; empty where it cannot get a text message."""
    try:
        number = phonenumbers.parse(typed, country or None)
    except phonenumbers.NumberParseException:
        return ""
    if not phonenumbers.is_valid_number(number) or phonenumbers.number_type(number) not in MOBILE:
        return ""
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


def send_text(*, to: str, text: str, reference: str) -> None:
    """Hand one text message to the gateway; the reference lets it know a repeat for one.

    Raises GatewayRefused for what is refused for good and OSError for what may work later.
    """
    if not settings.SMS_GATEWAY_URL.startswith(SAFE):
        message = "The gateway for text messages must be reached over https."
        raise GatewayRefused(message)
    body = {"to": to, "from": settings.SMS_SENDER, "text": text[:LONGEST_TEXT]}
    request = urllib.request.Request(  # noqa: S310  (the scheme is checked above)
        settings.SMS_GATEWAY_URL,
        data=json.dumps({**body, "reference": reference}).encode(),
        headers={
            "Content-Type": "application/json",
            "Authorization": f"Bearer {settings.SMS_GATEWAY_TOKEN}",
            "Idempotency-Key": reference,
        },
        method="POST",
    )
    try:
        with urllib.request.urlopen(request, timeout=TIME_LIMIT) as response:  # noqa: S310
            response.read(4096)
    except urllib.error.HTTPError as error:
        said = error.read(300).decode(errors="replace")
        error.close()
        words = f"The gateway answered {error.code}: {said}"
        if 400 <= error.code < 500 and error.code not in TRY_AGAIN:
            raise GatewayRefused(words) from error
        raise OSError(words) from error
