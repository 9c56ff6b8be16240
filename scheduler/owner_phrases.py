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
    gettext_noop("Jetting"),
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
# Why an agreement cannot be agreed to or cancelled: customers/agreement_sales.py, agreements.py.
AGREEMENT_REFUSALS = (
    gettext_noop("This offer is no longer open. Please ring us."),
    gettext_noop("The last day of this offer has passed. Please ring us."),
    gettext_noop("The offer was changed since you opened it. Read it again, then agree."),
    gettext_noop("There is an agreement for part of this time already. End it first, or renew it."),
    gettext_noop("The agreement would end before it starts."),
    gettext_noop("The days to cancel without a reason are over. Ring us to end the agreement."),
)
# What the rules ask that the owner is told of: servicing/compliance.py.
FINDINGS = (gettext_noop("A septic tank discharges to a watercourse."),)
# What is held about a person: heads of columns, and what stands in them from lists.
HELD = (
    gettext_noop("name"),
    gettext_noop("e-mail"),
    gettext_noop("telephone"),
    gettext_noop("postal address"),
    gettext_noop("language"),
    gettext_noop("notes of the office"),
    gettext_noop("written down"),
    gettext_noop("last changed"),
    gettext_noop("when"),
    gettext_noop("place"),
    gettext_noop("address"),
    gettext_noop("as"),
    gettext_noop("since"),
    gettext_noop("until"),
    gettext_noop("channel"),
    gettext_noop("kind"),
    gettext_noop("allowed"),
    gettext_noop("how we know"),
    gettext_noop("written"),
    gettext_noop("sent"),
    gettext_noop("to"),
    gettext_noop("by"),
    gettext_noop("subject"),
    gettext_noop("words"),
    gettext_noop("what"),
    gettext_noop("begins"),
    gettext_noop("ends"),
    gettext_noop("answer"),
    gettext_noop("cancelled"),
    gettext_noop("why"),
    gettext_noop("outcome"),
    gettext_noop("present"),
    gettext_noop("signed by"),
    gettext_noop("signature kept"),
    gettext_noop("plan"),
    gettext_noop("from"),
    gettext_noop("pence a year"),
    gettext_noop("ended"),
    gettext_noop("paper"),
    gettext_noop("issued"),
    gettext_noop("kept until"),
    gettext_noop("page of"),
    gettext_noop("made"),
    gettext_noop("last opened"),
    gettext_noop("times opened"),
    gettext_noop("completion"),
    gettext_noop("Owner"),
    gettext_noop("Occupier"),
    gettext_noop("Operator (legal duty-holder)"),
    gettext_noop("Payer"),
    gettext_noop("Site contact"),
    gettext_noop("E-mail"),
    gettext_noop("Text message"),
    gettext_noop("Letter"),
    gettext_noop("Service"),
    gettext_noop("Marketing"),
    gettext_noop("On their own page"),
    gettext_noop("Rung: agreed"),
    gettext_noop("Rung: no answer"),
    gettext_noop("Rung: not wanted"),
    gettext_noop("Six years where no rule says otherwise: from memory, check"),
)
# What is held about a person: its sections, and why each is held: scheduler/person_data.py.
HELD_SECTIONS = (
    gettext_noop("Who you are"),
    gettext_noop("To reach you about the system"),
    gettext_noop("What stood there before"),
    gettext_noop("So that mistakes can be put right"),
    gettext_noop("What you are to which place"),
    gettext_noop("Duties hang on it"),
    gettext_noop("What you allow us"),
    gettext_noop("To keep to it"),
    gettext_noop("What we wrote to you"),
    gettext_noop("To show what was said"),
    gettext_noop("Visits in your calendar"),
    gettext_noop("To move or cancel them there"),
    gettext_noop("What you told us"),
    gettext_noop("It changes dates and brings help"),
    gettext_noop("Telephone calls"),
    gettext_noop("So that nobody asks twice"),
    gettext_noop("Visits at which you were present"),
    gettext_noop("Proof of the work"),
    gettext_noop("Agreements you pay for"),
    gettext_noop("The contract between us"),
    gettext_noop("Links to your page"),
    gettext_noop("To let you in, and nobody else"),
    gettext_noop("Sales"),
    gettext_noop("To hand the place over"),
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
