"""Signed addresses of the owner's page: made, read, taken back.

The address carries the id of an OwnerLink row, the moment it was made and a signature, so a
guess or a change is recognised without a look into the database, and a link can be ended.
"""

from __future__ import annotations

import base64
import binascii
import datetime as dt
import uuid
from typing import TYPE_CHECKING

from django.core import signing
from django.core.cache import cache
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from customers import access
from customers.models import OwnerLink

if TYPE_CHECKING:
    from customers.models import Person, Premises, User

SALT = "scheduler.owner_links"
# An address in an old letter still opens for as long as the next one may take to come.
GOOD_FOR = dt.timedelta(days=800)
MOST_WRITES = 20
WRITES_WITHIN = dt.timedelta(hours=1)


class LinkUnknown(Exception):
    """The address was never ours, or was changed on the way."""


class LinkEnded(Exception):
    """The address was ours: it was taken back, grew too old, or the person has moved away."""

    def __init__(self, link: OwnerLink) -> None:
        super().__init__("This link has ended.")
        self.link = link


class TooManyWrites(Exception):
    """More was sent through one link than a household sends."""


def owner_url(*, premises: Premises, person: Person) -> str:
    """Path of the owner's page of `premises` for `person`; the leave for it is made if missing."""
    if person.organisation_id != premises.organisation_id:
        message = "The person and the premises belong to different organisations."
        raise ValueError(message)
    link, _ = OwnerLink.objects.get_or_create(
        person=person,
        premises=premises,
        revoked_at=None,
        defaults={"organisation_id": premises.organisation_id},
    )
    return reverse("scheduler:owner", args=[token_of(link)])


def token_of(link: OwnerLink) -> str:
    """What stands in the address for `link`."""
    short = base64.urlsafe_b64encode(link.public_id.bytes).rstrip(b"=").decode()
    return signing.TimestampSigner(sep=".", salt=SALT).sign(short)


def read_link(token: str) -> OwnerLink:
    """The link an address stands for. Raises LinkUnknown or LinkEnded."""
    signer = signing.TimestampSigner(sep=".", salt=SALT)
    try:
        short = signer.unsign(token)
        public_id = uuid.UUID(bytes=base64.urlsafe_b64decode(f"{short}=="))
    except (signing.BadSignature, binascii.Error, ValueError) as error:
        raise LinkUnknown from error
    link = (
        OwnerLink.objects.select_related("person", "premises", "organisation__profile")
        .filter(public_id=public_id)
        .first()
    )
    if link is None:
        raise LinkUnknown
    if link.revoked_at is not None or has_moved_away(link):
        raise LinkEnded(link)
    try:
        signer.unsign(token, max_age=GOOD_FOR)
    except signing.SignatureExpired as error:
        raise LinkEnded(link) from error
    return link


def has_moved_away(link: OwnerLink) -> bool:
    """Whether the person had to do with the place once and no longer has."""
    parties = link.person.parties.filter(premises=link.premises)
    today = timezone.now().date()
    return parties.exists() and not parties.filter(Q(until=None) | Q(until__gte=today)).exists()


def revoke_link(*, link: OwnerLink, by: User, now: dt.datetime) -> None:
    """Take a link back: from now on it opens nothing. Twice changes nothing."""
    access.require_change(by, link)
    OwnerLink.objects.filter(pk=link.pk, revoked_at__isnull=True).update(revoked_at=now)


def count_write(link: OwnerLink) -> None:
    """Count something sent through a link; raises TooManyWrites beyond a household's measure."""
    key = f"owner-writes-{link.public_id}"
    cache.add(key, 0, timeout=WRITES_WITHIN.total_seconds())
    try:
        count = cache.incr(key)
    except ValueError:  # it ran out between the two calls
        count = 1
    if count > MOST_WRITES:
        raise TooManyWrites
