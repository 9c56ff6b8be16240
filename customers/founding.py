"""Setting up an organisation and the first person who may sign in for it."""

from __future__ import annotations

from django.db import transaction
from django.utils.text import slugify

from customers.models import CountryProfile, Membership, Organisation, User


class CannotFound(ValueError):
    """The organisation cannot be set up; the message says why."""


@transaction.atomic
def found_organisation(
    *, name: str, profile: str, email: str, person: str
) -> tuple[Organisation, User]:
    """Set up an organisation under a country profile, with one member for the office.

    A user who is there already keeps the password; a new one has none until it is set.
    Raises CannotFound for an unknown profile or a name that is taken.
    """
    slug = slugify(name)
    rules = CountryProfile.objects.filter(code=profile).first()
    if rules is None:
        codes = ", ".join(CountryProfile.objects.order_by("code").values_list("code", flat=True))
        message = f"There is no country profile {profile}: take one of {codes}."
        raise CannotFound(message)
    if not slug or Organisation.objects.filter(slug=slug).exists():
        message = f"There is an organisation called {name} already, or the name has no letters."
        raise CannotFound(message)
    organisation = Organisation.objects.create(
        name=name, slug=slug, profile=rules, time_zone=rules.time_zone, sender_name=name
    )
    user = User.objects.filter(email__iexact=email).first()
    if user is None:
        user = User.objects.create_user(email, None, name=person or email)
    Membership.objects.create(user=user, organisation=organisation, role=Membership.Role.OFFICE)
    return organisation, user
