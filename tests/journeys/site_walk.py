"""Walks the site from link to link, first by its links alone, then in a browser."""

from __future__ import annotations

import re
from collections import Counter, deque
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Any
from urllib.parse import urldefrag, urljoin, urlsplit

from axe_playwright_python.sync_playwright import Axe
from django.urls import Resolver404, resolve

from tests.journeys.browser import DESK, PHONE

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

    from django.test import Client
    from playwright.sync_api import Page

# Pages of one address and the same kind of question that are asked for; the rest are alike.
ALIKE = 5
SENDS = ("action", "formaction", "hx-get", "hx-post")

LOOK = """() => ({
    title: document.title,
    headings: document.querySelectorAll("h1").length,
})"""
# What reaches beyond the window, unless it can be scrolled by itself.
TOO_WIDE = """() => {
    const width = document.documentElement.clientWidth;
    if (document.documentElement.scrollWidth <= width) return [];
    const wide = [...document.body.querySelectorAll("*")].filter(
        (part) => part.getBoundingClientRect().right > width + 1);
    return wide.slice(0, 5).map((part) => `${part.tagName} .${part.className}`);
}"""


class Links(HTMLParser):
    """Addresses a page leads to."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.sent_to: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note where an anchor leads, and what a button or a part of the page sends to."""
        said = dict(attrs)
        if tag == "a" and said.get("href"):
            self.found.append(said["href"] or "")
        self.sent_to += [said[name] or "" for name in SENDS if said.get(name)]


@dataclass
class Walk:
    """One person's pages: by URL name the first address found; what they send to; what was dead."""

    who: str
    pages: dict[str, str] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    buttons: set[str] = field(default_factory=set)
    dead: list[str] = field(default_factory=list)
    asked: int = 0


def name_of(address: str) -> str:
    """URL name of a path; empty where the site has none."""
    try:
        return resolve(urlsplit(address).path).view_name
    except Resolver404:
        return ""


def follow_links(who: str, client: Client, starts: Iterable[str]) -> Walk:
    """Ask for every page that links lead to, breadth first; of pages that are alike a few."""
    walk, waiting, seen = Walk(who), deque(starts), set(starts)
    alike: Counter[tuple[str, frozenset[str]]] = Counter()
    while waiting:
        address = waiting.popleft()
        name = name_of(address)
        parts = frozenset(re.findall(r"[?&](\w+)=[^&]", address))
        if alike[name, parts] >= ALIKE:
            continue
        alike[name, parts] += 1
        for link in ask(walk, client, name, address):
            if link not in seen:
                seen.add(link)
                waiting.append(link)
    return walk


def ask(walk: Walk, client: Client, name: str, address: str) -> list[str]:
    """Links of one page; none where it is a file, or dead."""
    answer = client.get(address, follow=True)
    walk.asked += 1
    if answer.status_code != 200:
        walk.dead.append(f"{walk.who}: {answer.status_code} at {address}")
        return []
    if not answer["Content-Type"].startswith("text/html"):
        walk.files.setdefault(name, address)
        return []
    if answer.redirect_chain:
        address = answer.redirect_chain[-1][0]
        name = name_of(address)
    walk.pages.setdefault(name, address)
    links = Links()
    links.feed(answer.content.decode())
    walk.buttons |= {name_of(urljoin(address, sent)) for sent in links.sent_to}
    return [link for found in links.found if (link := within(address, found))]


def within(page: str, address: str) -> str:
    """Path and question of a link that stays on the site; empty for others."""
    whole = urlsplit(urljoin(f"http://testserver{page}", urldefrag(address).url))
    if whole.scheme != "http" or whole.netloc != "testserver":
        return ""
    return f"{whole.path}?{whole.query}" if whole.query else whole.path


def look_at(page: Page, walk: Walk, known: set[str]) -> list[str]:
    """Open each page of a walk at both widths; give what is wrong with them.

    `known` holds the names of pages whose accessibility was looked into before; it grows.
    """
    wrong = []
    for name, address in walk.pages.items():
        answer = page.goto(address)
        at = f"{walk.who}, {name} ({address})"
        if answer is None or answer.status != 200:
            wrong.append(f"{at}: answers {answer and answer.status}")
            continue
        seen: dict[str, Any] = page.evaluate(LOOK)
        if seen["headings"] != 1:
            wrong.append(f"{at}: {seen['headings']} main headings")
        if len(seen["title"]) < len("x · Ebbmark"):
            wrong.append(f"{at}: title {seen['title']!r}")
        if name not in known:
            wrong += [f"{at}: {fault}" for fault in barriers(page)]
            known.add(name)
        page.set_viewport_size(PHONE)
        wrong += [f"{at}: reaches beyond a phone: {part}" for part in page.evaluate(TOO_WIDE)]
        page.set_viewport_size(DESK)
    return wrong


def barriers(page: Page) -> list[str]:
    """What axe finds, in light, and in dark where only colours can differ."""
    found = []
    axe = Axe()
    for theme, options in (("light", {}), ("dark", {"runOnly": ["color-contrast"]})):
        page.emulate_media(color_scheme=theme)
        answer = axe.run(page, options={"resultTypes": ["violations"], **options})
        found += [
            f"axe, {theme}: {one['id']} at {[node['target'] for node in one['nodes'][:4]]}"
            for one in answer.response["violations"]
        ]
    page.emulate_media(color_scheme="light")
    return found


def not_met(names: Collection[str], walks: Iterable[Walk]) -> set[str]:
    """Names of addresses to which no link, button or file of a walk leads."""
    met = {name for walk in walks for name in (*walk.pages, *walk.files, *walk.buttons)}
    return set(names) - met
