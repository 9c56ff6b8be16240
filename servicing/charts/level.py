"""The level picture: a tank cut open beside a graduated staff."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from .heights import height_share
from .marks import SCREEN, Palette, element, picture, tip, words

SIZE = (470, 310)
LEFT, RIGHT, TOP, BOTTOM = 42.0, 250.0, 84.0, 276.0
OUTLET_DROP = 30.0
STAFF = 306.0
STAFF_WIDTH = 22.0


def litres_only(litres: float) -> str:
    """Volume in litres, for callers without units of their own."""
    return f"{litres:,.0f} L"


@dataclass(frozen=True)
class LevelFacts:
    """What is known of a tank today. Volumes in litres; shares between 0 and 1.

    `low`, `likely` and `high` are the sludge and scum below the outlet: one time in ten less, as
    often more as less, one time in ten more. `scum_share` is the part of it last found floating.
    A `sealed` tank has no outlet: what stands in it is sewage, and above that is room.
    """

    shape: str
    working_volume: float
    low: float | None = None
    likely: float | None = None
    high: float | None = None
    trigger: float | None = None
    scum_share: float | None = None
    sealed: bool = False
    say: Callable[[float], str] = litres_only
    # Says a phrase of this module in the reader's language.
    speak: Callable[[str], str] = str

    @property
    def content(self) -> str:
        """What the level is the level of."""
        return "sewage" if self.sealed else "sludge and scum"

    def told(self, phrase: str, **litres: float) -> str:
        """A phrase with its volumes, in the reader's language and units."""
        return self.speak(phrase) % {name: self.say(volume) for name, volume in litres.items()}

    def share(self, litres: float) -> float:
        """Share of the working volume, never outside the tank."""
        return min(1.0, max(0.0, litres / self.working_volume))


def level_picture(facts: LevelFacts, palette: Palette = SCREEN, key: str = "level") -> str:
    """SVG of the tank with sludge, scum and trigger; `key` keeps ids apart on one page."""
    body = "".join(
        [
            clip(facts.shape, key),
            *contents(facts, palette, key),
            *shell(facts, palette),
            *staff(facts, palette),
        ]
    )
    return picture(
        key=key,
        title=facts.speak("Level in the tank today"),
        description=description(facts),
        size=SIZE,
        body=body,
    )


def description(facts: LevelFacts) -> str:
    """The picture in words."""
    if facts.likely is None:
        unknown = "Working volume %(volume)s. The level is not known."
        return facts.told(unknown, volume=facts.working_volume)
    parts = [facts.told(f"Likely %(likely)s of {facts.content}", likely=facts.likely)]
    if facts.low is not None and facts.high is not None:
        parts.append(facts.told("between %(low)s and %(high)s", low=facts.low, high=facts.high))
    inside = "in %(volume)s" if facts.sealed else "in %(volume)s below the outlet"
    parts.append(facts.told(inside, volume=facts.working_volume))
    if facts.trigger is not None:
        parts.append(facts.told("to be emptied at %(trigger)s", trigger=facts.trigger))
    return ", ".join(parts) + "."


def outline(shape: str) -> tuple[str, dict[str, float | str]]:
    """Element and measures of the inside of the tank as drawn."""
    height = BOTTOM - TOP
    if shape in ("horizontal_cylinder", "sphere"):
        middle = (LEFT + RIGHT) / 2
        return "circle", {"cx": middle, "cy": (TOP + BOTTOM) / 2, "r": height / 2}
    inset = 30.0 if shape == "upright_cylinder" else 0.0
    corner = 10.0 if shape == "upright_cylinder" else 3.0
    width = RIGHT - LEFT - 2 * inset
    return "rect", {"x": LEFT + inset, "y": TOP, "width": width, "height": height, "rx": corner}


def clip(shape: str, key: str) -> str:
    """Clip path of the inside, so that layers end at the wall."""
    name, places = outline(shape)
    return f'<defs><clipPath id="{key}-inside">{element(name, {}, **places)}</clipPath></defs>'


def layers(facts: LevelFacts) -> list[tuple[str, float, float, str]]:
    """Sludge, scum: kind, lower and upper edge as shares of the outlet height, words."""
    if facts.likely is None:
        return []
    outlet = 1 - OUTLET_DROP / (BOTTOM - TOP)
    scum = facts.likely * (facts.scum_share or 0.0)
    sludge = facts.likely - scum
    top = height_share(facts.shape, facts.share(sludge), outlet)
    name = facts.speak("sludge" if scum else facts.content)
    found = [("sludge", 0.0, top, name)]
    if scum:
        under = height_share(facts.shape, 1 - facts.share(scum), outlet)
        found.append(("scum", max(top, under), 1.0, facts.speak("scum")))
    return found


def contents(facts: LevelFacts, palette: Palette, key: str) -> list[str]:
    """Air, clear water, sludge and scum inside the wall."""
    outlet_y = TOP + OUTLET_DROP
    depth = BOTTOM - outlet_y
    wide = {"x": LEFT, "width": RIGHT - LEFT}
    above = "air" if facts.sealed else "water"
    parts = [
        element("rect", palette.attributes("air"), y=TOP, height=OUTLET_DROP, **wide),
        element("rect", palette.attributes(above), y=outlet_y, height=depth, **wide),
    ]
    named: list[tuple[str, float, float]] = []
    middle = (LEFT + RIGHT) / 2
    for kind, lower, upper, said in layers(facts):
        y = BOTTOM - upper * depth
        height = (upper - lower) * depth
        parts.append(element("rect", palette.attributes(kind), y=y, height=height, **wide))
        named.append((said, y, height))
    floor = named[0][1] if named else BOTTOM
    ceiling = named[1][1] + named[1][2] if len(named) > 1 else outlet_y
    room = facts.speak("room left" if facts.sealed else "clear water")
    named.append((room, ceiling, floor - ceiling))
    labels = [
        words(palette, text, (middle, y + height / 2 + 4.5), looks="middle")
        for text, y, height in named
        if height >= 17
    ]
    return [f'<g clip-path="url(#{key}-inside)">{"".join(parts)}</g>', *labels]


def shell(facts: LevelFacts, palette: Palette) -> list[str]:
    """Ground, cover, wall, inlet, and the outlet of a tank that has one."""
    shape = facts.shape
    name, places = outline(shape)
    middle = (LEFT + RIGHT) / 2
    ground, cover = palette.attributes("ground"), palette.attributes("shell")
    outlet_y = TOP + OUTLET_DROP
    edge = 0.0 if shape not in ("horizontal_cylinder", "sphere", "upright_cylinder") else 30.0
    pipe_in, pipe_out = LEFT + edge, RIGHT - edge
    drawn = [
        element("line", ground, x1=8.0, y1=40.0, x2=middle - 34, y2=40.0),
        element("line", ground, x1=middle + 34, y1=40.0, x2=284.0, y2=40.0),
        element("path", cover, d=f"M{middle - 34:.0f} 38h68M{middle - 24:.0f} 40v45m48-45v45"),
        element(name, cover, **places),
        element("path", cover, d=f"M8 {outlet_y - 14:.0f}H{pipe_in + 16:.0f}v26"),
        words(palette, facts.speak("in"), (1, outlet_y - 22), looks="soft"),
        words(palette, facts.speak("cover"), (middle, 28), looks="soft middle"),
    ]
    if not facts.sealed:
        way_out = f"M284 {outlet_y - 4:.0f}H{pipe_out - 16:.0f}v30"
        drawn.append(element("path", cover, d=way_out))
        drawn.append(words(palette, facts.speak("out"), (289, outlet_y - 12), looks="soft end"))
    return drawn


def staff_y(share: float) -> float:
    """Where a share of the working volume stands on the staff."""
    return BOTTOM - share * (BOTTOM - TOP - OUTLET_DROP)


def staff(facts: LevelFacts, palette: Palette) -> list[str]:
    """Graduated board: share of the working volume, likely range, trigger."""
    top = staff_y(1.0)
    parts = [
        element(
            "rect",
            palette.attributes("air"),
            x=STAFF,
            y=top,
            width=STAFF_WIDTH,
            height=BOTTOM - top,
        )
    ]
    if facts.low is not None and facts.high is not None:
        low, high = staff_y(facts.share(facts.low)), staff_y(facts.share(facts.high))
        said = facts.told("Likely between %(low)s and %(high)s", low=facts.low, high=facts.high)
        parts.append(
            element(
                "rect",
                palette.attributes("band"),
                tip(said),
                x=STAFF,
                y=high,
                width=STAFF_WIDTH,
                height=max(1.0, low - high),
            )
        )
    for tenth in range(11):
        y = staff_y(tenth / 10)
        length = STAFF_WIDTH if tenth % 5 == 0 else STAFF_WIDTH / 2
        parts.append(
            element("line", palette.attributes("axis"), x1=STAFF, y1=y, x2=STAFF + length, y2=y)
        )
    labels = [(tenth / 10, f"{tenth * 10} %", "soft") for tenth in (0, 5, 10)]
    return [*parts, *staff_marks(facts, palette, labels)]


def staff_marks(
    facts: LevelFacts, palette: Palette, labels: list[tuple[float, str, str]]
) -> list[str]:
    """Pointer at the likely level, line at the trigger, and the figures that do not collide."""
    parts: list[str] = []
    taken: list[float] = []
    right = STAFF + STAFF_WIDTH
    if facts.trigger is not None:
        y = staff_y(facts.share(facts.trigger))
        parts.append(
            element("line", palette.attributes("trigger"), x1=STAFF - 10, y1=y, x2=right + 8, y2=y)
        )
        parts.append(
            words(palette, facts.speak("empty at"), (right + 12, y - 2), looks="trigger-text")
        )
        parts.append(
            words(
                palette,
                facts.say(facts.trigger),
                (right + 12, y + 13),
                looks="trigger-text strong",
            )
        )
        taken += [y - 8, y + 8]
    if facts.likely is not None:
        y = staff_y(facts.share(facts.likely))
        point = f"M{right:.0f} {y:.1f}l9 -6v12z"
        parts.append(element("path", palette.attributes("emptied"), d=point))
        at = placed(y + 4, taken)
        parts.append(
            words(palette, facts.say(facts.likely), (right + 13, at), looks="strong", size=16)
        )
        taken.append(at - 4)
    for share, text, looks in labels:
        y = staff_y(share)
        if all(abs(y - other) > 18 for other in taken):
            parts.append(words(palette, text, (right + 6, y + 4), looks=looks, size=12))
    return parts


def placed(baseline: float, taken: list[float]) -> float:
    """Baseline moved clear of the lines already written: upwards if above them, else downwards."""
    if not taken or all(abs(baseline - 4 - other) > 20 for other in taken):
        return baseline
    above = min(taken) - 18
    below = max(taken) + 27
    return above if abs(above - baseline) < abs(below - baseline) else below
