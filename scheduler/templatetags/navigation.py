"""Where the reader is and where else to go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django import template
from django.urls import NoReverseMatch, reverse

from customers import access

if TYPE_CHECKING:
    from django.http import HttpRequest
    from django.template.context import Context

    from customers.access import Action, Changeable

register = template.Library()


@dataclass(frozen=True)
class Place:
    """A link of a navigation list."""

    name: str
    address: str
    current: bool = False
    icon: str = ""


# Name, URL name, icon, first part of the paths that belong to it.
PLACES = (
    ("Register", "servicing:systems", "book-open-text", "register"),
    ("Due", "scheduler:due", "calendar-clock", "due"),
    ("Rounds", "scheduler:rounds", "truck", "rounds"),
    ("Aftercare", "customers:agreements", "handshake", "aftercare"),
    ("Messages", "scheduler:messages", "mail", "messages"),
    ("Organisation", "customers:organisation", "building-2", "organisation"),
)

# Lists under a place: label, then name, URL name, and what one must be allowed to do there.
LISTS: dict[str, tuple[str, tuple[tuple[str, str] | tuple[str, str, Action], ...]]] = {
    "register": (
        "Register",
        (
            ("Systems", "servicing:systems"),
            ("Map of lids", "servicing:map"),
            ("Premises", "customers:premises_list"),
            ("People", "customers:people"),
            ("Sales", "scheduler:sales"),
            ("Papers", "servicing:paper_list"),
            ("What the rules ask", "servicing:compliance"),
            ("Questions", "servicing:questions"),
            ("Worth dipping", "servicing:worth_dipping"),
            ("Bring in", "servicing:import", "register"),
        ),
    ),
    "aftercare": (
        "Aftercare",
        (
            ("Agreements", "customers:agreements"),
            ("Charges", "scheduler:charges"),
            ("The year ahead", "scheduler:aftercare_year"),
            ("What agreements cost", "scheduler:aftercare_costs"),
            ("Plans", "customers:plans"),
            ("Price list", "customers:prices"),
        ),
    ),
    "organisation": (
        "Organisation",
        (
            ("Settings", "customers:organisation"),
            ("Members", "customers:members"),
            ("Who changed what", "scheduler:history"),
            ("What our tanks teach", "servicing:learning"),
            ("Did forecasts come true?", "servicing:track_record"),
        ),
    ),
}


def address_of(name: str) -> str | None:
    """Path of a URL name; None where this site does not have that page."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return None


@register.inclusion_tag("includes/places.html", takes_context=True)
def places(context: Context) -> dict[str, Any]:
    """Main navigation; the current place is told by the first part of the path."""
    request: HttpRequest | None = context.get("request")
    first = request.path.strip("/").split("/")[0] if request else ""
    here = context.get("place") or first
    known = ((name, address_of(url), icon, part) for name, url, icon, part in PLACES)
    return {
        "places": [
            Place(name=name, address=address, icon=icon, current=part == here)
            for name, address, icon, part in known
            if address
        ]
    }


@register.inclusion_tag("includes/subnav.html", takes_context=True)
def lists(context: Context, place: str) -> dict[str, Any]:
    """Lists under a place; the current one is told by its URL name."""
    label, names = LISTS[place]
    request: HttpRequest | None = context.get("request")
    match = request.resolver_match if request else None
    here = match.view_name if match else ""
    open_to = (row for row in names if all(may(context, action) for action in row[2:]))
    known = ((name, url, address_of(url)) for name, url, *_ in open_to)
    return {
        "label": label,
        "places": [
            Place(name=name, address=address, current=url == here)
            for name, url, address in known
            if address
        ],
    }


@register.simple_tag
def home_address() -> str:
    """Where the mark at the top leads."""
    return address_of("scheduler:desk") or address_of("servicing:systems") or "/"


@register.inclusion_tag("includes/crumbs.html")
def crumbs(*steps: str) -> dict[str, Any]:
    """Path to this page: name, address, name, address, …, name of this page."""
    names, addresses = steps[0::2], [*steps[1::2], ""]
    return {
        "crumbs": [
            Place(name=name, address=address)
            for name, address in zip(names, addresses, strict=False)
        ]
    }


@register.simple_tag(takes_context=True)
def may(context: Context, action: Action) -> bool:
    """Whether the reader may do `action` in the organisation they work in."""
    request = context.get("request")
    organisation = getattr(request, "organisation", None)
    if request is None or not organisation:
        return False
    return access.may(request.user, action, organisation)


@register.simple_tag(takes_context=True)
def may_change(context: Context, thing: Changeable) -> bool:
    """Whether the reader may change `thing`."""
    request = context.get("request")
    return request is not None and access.may_change(request.user, thing)
