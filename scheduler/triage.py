"""What an owner sees or smells, what that likely is, what to do at once, and how soon we come.

The signs and what they point to follow the household advice of drainage authorities (NI Water,
septic tank guidance, March 2024: slow or blocked drains, smell, dark discharge, growth in the
watercourse) and the trade's practice; where a line has no published source it is common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_noop

from scheduler.models import TroubleReport

Priority = TroubleReport.Priority

KEEP_COVER = gettext_noop(
    "Leave every cover where it is and do not look in: the gas can kill without warning."
)


@dataclass(frozen=True)
class Sign:
    """One thing an owner may notice. `steps` are told in this order."""

    key: str
    says: str
    likely: str
    steps: tuple[str, ...]
    priority: int
    plants_only: bool = False
    pollution: bool = False

    @property
    def makes_a_job(self) -> bool:
        """Whether somebody has to come."""
        return self.priority < Priority.NONE


@dataclass(frozen=True)
class Advice:
    """What is told to the owner for one sign."""

    sign: Sign
    coming: str

    @property
    def text(self) -> str:
        """All of it as plain text, for the record."""
        return "\n".join((self.sign.likely, *self.sign.steps, self.coming))


COMING: dict[int, str] = {
    Priority.SAME_DAY: gettext_noop(
        "This cannot wait until somebody reads it. It is noted; ring us now as well."
    ),
    Priority.SOON: gettext_noop(
        "We have been told and mean to come within three days. We will ring first."
    ),
    Priority.ROUTINE: gettext_noop(
        "We have been told and will look at it when we are next near you. "
        "If it gets worse, tell us again."
    ),
    Priority.NONE: gettext_noop(
        "Nobody needs to come for this. If it does not clear, or more than one drain "
        "is slow, tell us again."
    ),
}

SIGNS = (
    Sign(
        key="cover_unsafe",
        says=gettext_noop("A cover is loose, cracked or missing, or the ground is sinking"),
        likely=gettext_noop(
            "Somebody could fall in. This is the most dangerous thing that can happen here."
        ),
        steps=(
            gettext_noop(
                "Keep everybody away, children and animals first. Stay where you can see it."
            ),
            gettext_noop(
                "From a safe distance, put something large and heavy round it as a fence. "
                "Do not stand on the cover or on sinking ground."
            ),
            gettext_noop(
                "If somebody has fallen in, do not go after them. Ring the emergency services."
            ),
        ),
        priority=Priority.SAME_DAY,
    ),
    Sign(
        key="sewage_up",
        says=gettext_noop("Sewage is coming up, indoors or out of a drain"),
        likely=gettext_noop(
            "The way into the tank is blocked, or what should soak away has nowhere to go."
        ),
        steps=(
            gettext_noop("Stop using water: no flushing, no washing, no baths."),
            gettext_noop(
                "Keep out of it, and keep children and animals out. Wash your hands if you touched it."
            ),
            KEEP_COVER,
        ),
        priority=Priority.SAME_DAY,
    ),
    Sign(
        key="ditch_foul",
        says=gettext_noop("Grey water, slime or a foul pool in a ditch, stream or pond"),
        likely=gettext_noop("Sewage may be getting into the water."),
        steps=(
            gettext_noop("Use as little water as you can until we have been."),
            gettext_noop("Keep people and animals away from the water."),
            gettext_noop("Tell the pollution line: telling them early is what they ask for."),
        ),
        priority=Priority.SAME_DAY,
        pollution=True,
    ),
    Sign(
        key="level_alarm",
        says=gettext_noop("The plant's red lamp is on, or its buzzer sounds"),
        likely=gettext_noop(
            "On most plants this means that the water stands too high or a pump has stopped; "
            "your handbook has the last word."
        ),
        steps=(
            gettext_noop("Stop using water."),
            gettext_noop("Leave the plant switched on, and leave the panel shut if it is wet."),
            gettext_noop("Note which lamp it is and since when."),
        ),
        priority=Priority.SAME_DAY,
        plants_only=True,
    ),
    Sign(
        key="air_lamp",
        says=gettext_noop("The plant's amber lamp is on"),
        likely=gettext_noop(
            "On most plants this means that the air supply has stopped; "
            "your handbook has the last word."
        ),
        steps=(
            gettext_noop("Leave the plant switched on."),
            gettext_noop(
                "If its trip switch indoors is off, put it on once. If it goes off again, leave it."
            ),
            gettext_noop("Note which lamp it is and since when."),
        ),
        priority=Priority.SOON,
        plants_only=True,
    ),
    Sign(
        key="all_slow",
        says=gettext_noop("All drains are slow, or they gurgle"),
        likely=gettext_noop("The tank may be full, or a pipe into or out of it blocked."),
        steps=(
            gettext_noop("Use as little water as you can: no washing machine, no baths."),
            gettext_noop("Use no drain cleaner: it does not reach the cause and harms the tank."),
            KEEP_COVER,
        ),
        priority=Priority.SOON,
    ),
    Sign(
        key="wet_strip",
        says=gettext_noop("Wet, soft or lush ground near the tank, perhaps with a smell"),
        likely=gettext_noop("The ground may no longer take the water from the tank."),
        steps=(
            gettext_noop("Keep people and animals off it, and do not drive on it."),
            gettext_noop("Use less water, and spread your washing over the week."),
            gettext_noop("If it runs towards a ditch or stream, tell the pollution line."),
        ),
        priority=Priority.SOON,
        pollution=True,
    ),
    Sign(
        key="full_again",
        says=gettext_noop("It is full again days after it was emptied"),
        likely=gettext_noop(
            "The water has nowhere to go, or water is getting in. Emptying alone will not cure "
            "it: somebody has to find out why."
        ),
        steps=(
            gettext_noop("Use as little water as you can."),
            gettext_noop("Keep off wet ground near the tank."),
            KEEP_COVER,
        ),
        priority=Priority.SOON,
    ),
    Sign(
        key="smell_dry",
        says=gettext_noop("It smells outside, and the ground is dry"),
        likely=gettext_noop("A vent or the seal of a cover, or the tank is due."),
        steps=(gettext_noop("Stay out of the smell and let nobody smoke near it."), KEEP_COVER),
        priority=Priority.ROUTINE,
    ),
    Sign(
        key="after_rain",
        says=gettext_noop("Only after heavy rain: slow drains or water standing near the tank"),
        likely=gettext_noop(
            "Ground water is getting in, or the ground is full. It often passes as it dries."
        ),
        steps=(
            gettext_noop("Use as little water as you can until it has drained."),
            gettext_noop(
                "Do not have the tank emptied while the ground is under water: "
                "an empty tank can float up out of it."
            ),
            gettext_noop("Lead roof water elsewhere if it runs to the tank."),
        ),
        priority=Priority.ROUTINE,
    ),
    Sign(
        key="visitors",
        says=gettext_noop("Many visitors are coming, or a party"),
        likely=gettext_noop(
            "More people than usual fill the tank faster and can wash sludge out of it."
        ),
        steps=(
            gettext_noop("Spread baths and washing over several days."),
            gettext_noop(
                "Fat goes into the bin, not down the sink; wipes too, whatever the packet says."
            ),
            gettext_noop("If your next emptying is near, ask for an earlier day on your page."),
        ),
        priority=Priority.ROUTINE,
    ),
    Sign(
        key="one_slow",
        says=gettext_noop("One sink, shower or toilet is slow, the others are well"),
        likely=gettext_noop("A blockage in that one pipe: not the tank."),
        steps=(
            gettext_noop("Try a plunger, or clean the trap below the sink."),
            gettext_noop("If that does not help, a plumber is the one to ring."),
        ),
        priority=Priority.NONE,
    ),
    Sign(
        key="other",
        says=gettext_noop("Something else"),
        likely=gettext_noop("We shall read what you wrote and ring you."),
        steps=(
            KEEP_COVER,
            gettext_noop("If sewage comes up or a cover is not sound, ring us now."),
        ),
        priority=Priority.ROUTINE,
    ),
)

BY_KEY = {sign.key: sign for sign in SIGNS}


def signs_for(*, has_plant: bool) -> tuple[Sign, ...]:
    """Signs that can be seen at a place, most dangerous first; lamps only where there is a plant."""
    return tuple(sign for sign in SIGNS if has_plant or not sign.plants_only)


def advise(key: str) -> Advice:
    """What to tell an owner who reports the sign `key`. Raises KeyError for an unknown one."""
    sign = BY_KEY[key]
    return Advice(sign=sign, coming=COMING[sign.priority])
