"""The way in to the owner's pages: a signed link, its language, and why it opens nothing."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from http import HTTPStatus
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.translation import gettext

from customers.languages import ENGLISH, language_of
from scheduler import owner_links

if TYPE_CHECKING:
    from customers.models import OwnerLink

Arguments = ParamSpec("Arguments")

# The link is the key, so nothing on the way may keep the page or pass its address on. The address
# stays inside this site ("same-origin"): with "no-referrer" browsers send `Origin: null` with a
# form, which Django's CSRF check rightly refuses.
LID_COOKIE, LID_PATH = "place", "/lid/"
HEADERS = {
    "Cache-Control": "private, no-store",
    "Referrer-Policy": "same-origin",
    "X-Robots-Tag": "noindex, nofollow",
}


def by_link(
    view: Callable[Concatenate[HttpRequest, OwnerLink, Arguments], HttpResponse],
) -> Callable[..., HttpResponse]:
    """Turn the token of the address into its link, or say plainly why it opens nothing."""

    @wraps(view)
    def gate(
        request: HttpRequest, token: str, *args: Arguments.args, **kwargs: Arguments.kwargs
    ) -> HttpResponse:
        link: OwnerLink | None = None
        try:
            link = owner_links.read_link(token)
            if request.method == "POST":
                owner_links.count_write(link)
            with translation.override(language_of(link.person, link.organisation)):
                response = view(request, link, *args, **kwargs)
        except owner_links.LinkUnknown:
            response = closed_page(request, HTTPStatus.NOT_FOUND)
        except owner_links.LinkEnded as ended:
            response = closed_page(request, HTTPStatus.GONE, ended.link)
        except owner_links.TooManyWrites:
            response = closed_page(request, HTTPStatus.TOO_MANY_REQUESTS, link)
        for name, value in HEADERS.items():
            response[name] = value
        return response

    return gate


def closed_page(
    request: HttpRequest, status: HTTPStatus, link: OwnerLink | None = None
) -> HttpResponse:
    """Why the page does not open, and whom to ring where we know the firm."""
    told = {"status": int(status), "organisation": link.organisation if link else None}
    language = language_of(link.person, link.organisation) if link else ENGLISH
    with translation.override(language):
        return render(request, "scheduler/owner_closed.html", told, status=status)


def why(impossible: Exception, then: str) -> str:
    """Why something cannot be had and what to do, in the reader's language."""
    return f"{gettext(str(impossible))} {then}"


def token_of(request: HttpRequest) -> str:
    """The token the page was opened with: a fresh one would let a link outlive its term."""
    assert request.resolver_match is not None
    return str(request.resolver_match.kwargs["token"])


def shared(request: HttpRequest, link: OwnerLink) -> dict[str, Any]:
    """What every page behind the link shows."""
    return {
        "link": link,
        "token": token_of(request),
        "premises": link.premises,
        "organisation": link.organisation,
        "other_languages": [
            one for one in settings.LANGUAGES if one[0] != translation.get_language()
        ],
    }


def remember(answer: HttpResponse, token: str) -> None:
    """Let the owner's own telephone open this page from the label on the cover, and no other page.

    The browser sends the cookie to addresses of covers alone, and scripts cannot read it.
    """
    answer.set_cookie(
        LID_COOKIE,
        token,
        max_age=owner_links.GOOD_FOR,
        path=LID_PATH,
        secure=settings.SITE_ADDRESS.startswith("https:"),
        httponly=True,
        samesite="Lax",
    )


def back(request: HttpRequest) -> HttpResponse:
    """To the owner's page, so that a second press of reload sends nothing again."""
    return redirect("scheduler:owner", token=token_of(request))
