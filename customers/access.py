"""Who may see or change what. Seeing is asked of querysets: `visible_to(user)`."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any, ClassVar, Concatenate, Literal, ParamSpec, Protocol

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404

from customers.models import Membership

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.contrib.auth.models import AnonymousUser
    from django.http import HttpRequest, HttpResponse

    from customers.models import Organisation, User

Arguments = ParamSpec("Arguments")

Action = Literal["register", "plan", "visit", "tell", "manage"]

Role = Membership.Role

# What each role may change; everybody with a membership may read.
MAY_CHANGE: dict[str, frozenset[Action]] = {
    Role.OFFICE: frozenset({"register", "plan", "visit", "tell", "manage"}),
    Role.PLANNER: frozenset({"plan", "visit", "tell"}),
    Role.CREW: frozenset({"visit"}),
    Role.READER: frozenset(),
}
# How each action is called towards who may not do it.
IN_WORDS: dict[Action, str] = {
    "register": "change the register",
    "plan": "plan the work",
    "visit": "record the visits",
    "tell": "send the messages",
    "manage": "change the settings",
}


class Changeable(Protocol):
    """A row that says which action changes it and whose members may."""

    changed_by: ClassVar[Any]

    def changing_organisations(self) -> tuple[Organisation, ...]:
        """Organisations whose members may be allowed to change it."""
        ...


def may(user: User | AnonymousUser, action: Action, organisation: Organisation) -> bool:
    """Whether `user` may do `action` in `organisation`."""
    if not user.is_authenticated:
        return False
    roles = Membership.objects.filter(user=user, organisation=organisation).values_list(
        "role", flat=True
    )
    return any(action in MAY_CHANGE[role] for role in roles)


def require(user: User | AnonymousUser, action: Action, organisation: Organisation) -> None:
    """Raise PermissionDenied unless `user` may do `action` in `organisation`."""
    if not may(user, action, organisation):
        message = f"Your role does not let you {IN_WORDS[action]} of {organisation}."
        raise PermissionDenied(message)


def may_change(user: User | AnonymousUser, thing: Changeable) -> bool:
    """Whether `user` may change `thing`."""
    return any(may(user, thing.changed_by, one) for one in thing.changing_organisations())


def require_change(user: User | AnonymousUser, thing: Changeable) -> None:
    """Raise PermissionDenied unless `user` may change `thing`."""
    if not may_change(user, thing):
        message = "Your role lets you look at this but not change it."
        raise PermissionDenied(message)


def member_required(
    view: Callable[Concatenate[HttpRequest, Arguments], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Arguments], HttpResponse]:
    """Ask for sign-in, and answer 404 to who belongs to no organisation.

    Views behind it take the organisation from `customers.middleware.organisation_of(request)`.
    """

    @wraps(view)
    def gate(
        request: HttpRequest, /, *args: Arguments.args, **kwargs: Arguments.kwargs
    ) -> HttpResponse:
        if not request.organisation:  # type: ignore[attr-defined]
            raise Http404
        return view(request, *args, **kwargs)

    return login_required(gate)
