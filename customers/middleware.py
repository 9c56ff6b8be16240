"""Which organisation a request works in."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from customers.models import Organisation

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

    from customers.models import User

SESSION_KEY = "organisation"


class WorkingOrganisation:
    """Set `request.organisation`: the one chosen in this session, else the first by name."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request with the organisation in place."""
        lazy = SimpleLazyObject(lambda: working_organisation(request))
        request.organisation = lazy  # type: ignore[attr-defined]
        if not request.user.is_authenticated or not lazy:
            return self.get_response(request)
        with timezone.override(lazy.time_zone):  # pages show the office's own clock
            return self.get_response(request)


def working_organisation(request: HttpRequest) -> Organisation | None:
    """Organisation in which this user works now; None without a membership."""
    if not request.user.is_authenticated:
        return None
    mine = (
        Organisation.objects.filter(memberships__user=request.user)
        .select_related("profile")
        .order_by("name")
    )
    chosen = request.session.get(SESSION_KEY)
    return (mine.filter(public_id=chosen).first() if chosen else None) or mine.first()


def organisation_of(request: HttpRequest) -> Organisation:
    """Organisation of a request that has passed `member_required`."""
    return cast("Organisation", request.organisation)  # type: ignore[attr-defined]


def user_of(request: HttpRequest) -> User:
    """User of a request that has passed `member_required`."""
    return cast("User", request.user)
