"""The words of a message: templates filled with plain phrases, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.functional import lazy
from django.utils.translation import gettext, gettext_noop

from customers.languages import ENGLISH
from scheduler.calendar_invites.entries import many_lines, one_line
from scheduler.messages.own_ladder import NAMED, OwnWords
from scheduler.models import Job
from servicing.models import System
from servicing.volumes import UNIT_NAMES, from_litres

if TYPE_CHECKING:
    from datetime import date, datetime

    from customers.models import Organisation

LONGEST_SUBJECT = 250

# What each kind of work is called when speaking to an owner.
WORK = {
    Job.Kind.EMPTYING: gettext_noop("emptying of the %(system)s"),
    Job.Kind.SERVICE: gettext_noop("service of the %(system)s"),
    Job.Kind.INSPECTION: gettext_noop("inspection of the chambers of the %(system)s"),
    Job.Kind.CALL_OUT: gettext_noop("call-out to the %(system)s"),
}
Lazily = Callable[..., str]


def lazily(say: Lazily) -> Lazily:
    """Say it when it is written down: by then it is known in which language."""
    return lazy(say, str)


class Unfilled(ValueError):
    """Own words name something that nothing is known of."""

    def __init__(self, name: str) -> None:
        super().__init__(
            f"Your own words name {{{name}}}, and there is nothing to put in its place."
        )


@dataclass(frozen=True, slots=True)
class Words:
    """One message in words."""

    subject: str
    text: str
    html: str


def fill(template: str, facts: dict[str, Any], own: OwnWords | None = None) -> Words:
    """Render `templates/messages/<template>/` with the facts, or own words in its place."""
    folder = f"messages/{template}"
    subject = own.subject if own else ""
    said = own.words if own else ""
    body = "messages/_own" if said else f"{folder}/body"
    title = _named(subject, facts) if subject else render_to_string(f"{folder}/subject.txt", facts)
    facts = {**facts, "own_words": _named(said, facts), "own_title": one_line(title)}
    return Words(
        subject=one_line(title)[:LONGEST_SUBJECT],
        text=_without_gaps(render_to_string(f"{body}.txt", facts)),
        html=render_to_string(f"{body}.html", facts).strip() + "\n",
    )


def fill_short(template: str, facts: dict[str, Any]) -> Words:
    """Render the text message of `templates/messages/<template>/`."""
    text = one_line(render_to_string(f"messages/{template}/short.txt", facts))
    return Words(subject=text[:LONGEST_SUBJECT], text=text, html="")


def _named(words: str, facts: dict[str, Any]) -> str:
    """Put facts in the place of their names in curly brackets, and run nothing."""

    def fact(found: re.Match[str]) -> str:
        known = str(facts.get(found[1], ""))
        if not known:
            raise Unfilled(found[1])  # a sentence with a hole is worse than none
        return known

    return NAMED.sub(fact, words)


def _without_gaps(text: str) -> str:
    """A sentence left out leaves no hole behind."""
    return re.sub(r"\n{3,}", "\n\n", many_lines(text)) + "\n"


@lazily
def work_of(job: Job) -> str:
    """What is to be done, as in `emptying of the septic tank`."""
    return gettext(WORK[Job.Kind(job.kind)]) % {"system": system_name(job.system)}


@lazily
def system_name(system: System) -> str:
    """What the owner calls it: `septic tank`."""
    return gettext(System.Kind(system.kind).label).lower()


def organisation_facts(organisation: Organisation) -> dict[str, Any]:
    """Who is speaking and how to ring back."""
    return {
        "sender": one_line(organisation.sender_name or organisation.name),
        "phone": one_line(organisation.phone),
        "emergency_line": one_line(organisation.profile.emergency_line),
    }


def job_facts(job: Job) -> dict[str, Any]:
    """What a message about a job may say."""
    premises = job.system.premises
    return {
        **organisation_facts(job.organisation),
        "work": work_of(job),
        "system": system_name(job.system),
        "place": one_line(str(premises)),
        "due": day_in_words(job.due_on),
        "is_emptying": job.kind == Job.Kind.EMPTYING,
        "is_plant": job.system.kind == System.Kind.PACKAGE_PLANT,
    }


@lazily
def day_in_words(day: date) -> str:
    """A day with its weekday: `Friday 12 March 2027`."""
    return date_format(day, "l j F Y")


@lazily
def span_in_words(starts: datetime, ends: datetime, zone: str) -> str:
    """A span on one local day: `Friday 12 March 2027, between 09:00 and 11:00`."""
    first, last = starts.astimezone(ZoneInfo(zone)), ends.astimezone(ZoneInfo(zone))
    told = {
        "day": day_in_words(first.date()),
        "first": f"{first:%H:%M}",
        "last_day": day_in_words(last.date()),
        "last": f"{last:%H:%M}",
    }
    if first.date() == last.date():
        return gettext("%(day)s, between %(first)s and %(last)s") % told
    return gettext("%(day)s %(first)s to %(last_day)s %(last)s") % told


@lazily
def litres_in_words(litres: float, units: str) -> str:
    """A volume with its unit written out: `3,800 litres`."""
    return f"{from_litres(litres, units):,.0f} {gettext(UNIT_NAMES[units])}"


@translation.override(ENGLISH)
def in_english(words: str, when: str) -> str:
    """A sentence for the office, whatever the owner reads whose page is open."""
    return f"{words} {when}."


def local_day(moment: datetime, zone: str) -> date:
    """The day of an instant where the tank is."""
    return timezone.localdate(moment, ZoneInfo(zone))
