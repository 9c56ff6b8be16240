"""Letting members in: the door of every page that works on an organisation's records."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Concatenate, ParamSpec

from django.contrib.auth.decorators import login_required
from django.http import Http404

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponse

Rest = ParamSpec("Rest")


def member_required(
    view: Callable[Concatenate[HttpRequest, Rest], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Rest], HttpResponse]:
    """Send who is not signed in to the door; for who belongs nowhere there is no such page.

    Afterwards `organisation_of(request)` is the organisation they work in.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: Rest.args, **kwargs: Rest.kwargs) -> HttpResponse:
        if not request.organisation:  # type: ignore[attr-defined]
            raise Http404
        return view(request, *args, **kwargs)

    return login_required(guarded)
