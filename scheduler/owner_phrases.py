"""What owners read that is written down elsewhere: named here so that it can be translated.

The register and the mathematics speak English and know no other language. What of it reaches an
owner is gathered here, found by `makemessages`, and said again in the reader's language.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import TYPE_CHECKING

from django.utils.formats import date_format
from django.utils.translation import gettext, gettext_noop

if TYPE_CHECKING:
    from collections.abc import Iterable

# What is in the ground, what is done to it, the papers of it, and what may keep a crew from it.
LABELS = (
    gettext_noop("Septic tank"),
    gettext_noop("Cesspool"),
    gettext_noop("Package treatment plant"),
    gettext_noop("Grease trap"),
    gettext_noop("Inspection chamber"),
    gettext_noop("Soakaway"),
    gettext_noop("Emptying"),
    gettext_noop("Service visit"),
    gettext_noop("Chamber inspection"),
    gettext_noop("Call-out"),
    gettext_noop("Service record"),
    gettext_noop("Waste transfer note"),
    gettext_noop("Season ticket"),
    gettext_noop("Handover pack"),
    gettext_noop("Aftercare agreement"),
    gettext_noop("Renewal notice"),
    gettext_noop("Job sheet"),
    gettext_noop("Run sheet"),
    gettext_noop("No access"),
    gettext_noop("Locked gate"),
    gettext_noop("Lid seized or buried"),
    gettext_noop("Lid unsafe"),
    gettext_noop("Dog"),
    gettext_noop("Tank not found"),
    gettext_noop("Too far or too deep for the hose"),
    gettext_noop("Ground too wet"),
    gettext_noop("Tanker full"),
    gettext_noop("Works closed"),
    gettext_noop("Refused by the customer"),
    gettext_noop("Unsafe to work"),
    gettext_noop("litres"),
    gettext_noop("gallons"),
    gettext_noop("US gallons"),
)
# Months that Django's own Welsh spells or shortens otherwise than the Unicode CLDR.
MONTHS = (
    gettext_noop("July"),
    gettext_noop("feb"),
    gettext_noop("jul"),
    gettext_noop("sep"),
)
# What was found in a drain: servicing/forecasting/chambers.py.
FOUND = (
    gettext_noop("Wipes do not fall apart in the drain, whatever the packet says: bin them."),
    gettext_noop("Fat sets hard in a cold drain: let it cool, scrape it up and bin it."),
    gettext_noop("Sanitary items belong in a bin, never in the toilet."),
    gettext_noop(
        "Soil or grit is being washed in: a cracked pipe or surface water may be joined on."
    ),
    gettext_noop("Roots have found a joint: the pipe needs a camera and perhaps a repair."),
    gettext_noop("Stones or broken pipe lie in the drain: it should be looked at with a camera."),
    gettext_noop("Hard scale narrows the pipe: it can be cleaned by jetting."),
    gettext_noop("Something that does not belong in a drain was found: ask the crew what it was."),
)
# Why something cannot be had: scheduler/booking.py, customers/sales.py.
REFUSALS = (
    gettext_noop("The time offered is no longer open."),
    gettext_noop("A sale of this place is under way already."),
    gettext_noop("The sale is settled already."),
    gettext_noop("The sale is completed. If that was wrong, write the people down again."),
)
# The level picture: servicing/charts/level.py.
PICTURE = (
    gettext_noop("Level in the tank today"),
    gettext_noop("Working volume %(volume)s. The level is not known."),
    gettext_noop("Likely %(likely)s of sewage"),
    gettext_noop("Likely %(likely)s of sludge and scum"),
    gettext_noop("between %(low)s and %(high)s"),
    gettext_noop("in %(volume)s"),
    gettext_noop("in %(volume)s below the outlet"),
    gettext_noop("to be emptied at %(trigger)s"),
    gettext_noop("Likely between %(low)s and %(high)s"),
    gettext_noop("sewage"),
    gettext_noop("sludge and scum"),
    gettext_noop("sludge"),
    gettext_noop("scum"),
    gettext_noop("room left"),
    gettext_noop("clear water"),
    gettext_noop("in"),
    gettext_noop("out"),
    gettext_noop("cover"),
    gettext_noop("empty at"),
)
# What a forecast had to take for granted: servicing/forecasting/, said without figures …
ASSUMED = (
    gettext_noop("Nothing is known of who lived there earlier: as many as in the first record."),
    gettext_noop("Sludge-blanket and tanker readings are kept, but do not teach the rate."),
    gettext_noop("Scum was not measured: taken as 27 % of the solids."),
    gettext_noop("Not every compartment was measured: the others taken to be as full."),
)
# … and with them, as patterns of what was written and the sentence it is.
DAY = r"(?P<day>\d{1,2} [A-Z][a-z]+ \d{4})"
ASSUMED_OF = {
    rf"No emptying is recorded: counted from the first measurement on {DAY}\.": gettext_noop(
        "No emptying is recorded: counted from the first measurement on %(day)s."
    ),
    rf"No emptying is recorded: counted from its installation on {DAY}\.": gettext_noop(
        "No emptying is recorded: counted from its installation on %(day)s."
    ),
    rf"Nobody has looked into it yet: counted from its installation on {DAY}\.": gettext_noop(
        "Nobody has looked into it yet: counted from its installation on %(day)s."
    ),
    r"The tank's size is not known: (?P<volume>[\d,]+ (?:L|gal|US gal)) assumed.*\.": gettext_noop(
        "The tank's size is not known. Size assumed: %(volume)s."
    ),
    r"Nobody has measured it: taken to fill .*, about (?P<volume>[\d,]+ (?:L|gal|US gal)) a person "
    r"in the first year\.": gettext_noop(
        "Nobody has measured it. Taken to fill as others do, a person in the first year: %(volume)s."
    ),
    rf"The emptying of {DAY} was in part and nobody wrote down what stayed: .*\.": gettext_noop(
        "Emptied in part, and nobody wrote down what stayed: %(day)s. Reckoned as if nothing had "
        "been taken."
    ),
    rf"The dip on {DAY} is not used: .*\.": gettext_noop(
        "The measurement of %(day)s could not be used."
    ),
    r"The tank's dimensions are missing: (?P<share>\d+)% of its volume stands for them\.": (
        gettext_noop(
            "The tank's dimensions are missing: %(share)s %% of its volume stands for them."
        )
    ),
    r"Nobody told us how many live there: about (?P<persons>[\d.]+) persons taken for "
    r"(?P<bedrooms>\d+) bedrooms\.": gettext_noop(
        "Nobody told us how many live there. Number taken: %(persons)s, from the number of "
        "bedrooms: %(bedrooms)s."
    ),
    r"Nobody told us how many live there: about (?P<persons>[\d.]+) persons taken for an "
    r"unknown house\.": gettext_noop(
        "Nobody told us how many live there. Number taken for an unknown house: %(persons)s."
    ),
}


def assumptions_in_words(lines: Iterable[str]) -> list[str]:
    """What a forecast took for granted, in the reader's language; unknown lines as they are."""
    return [_assumption(line) for line in lines]


def _assumption(line: str) -> str:
    for pattern, sentence in ASSUMED_OF.items():
        found = re.fullmatch(pattern, line)
        if found is not None:
            told = found.groupdict()
            if "day" in told:
                day = dt.datetime.strptime(told["day"], "%d %B %Y").replace(tzinfo=dt.UTC)
                told["day"] = date_format(day.date(), "j F Y")
            return gettext(sentence) % told
    return gettext(line)
