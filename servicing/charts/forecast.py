"""The forecast chart: how the level has risen, how it is expected to rise, and the days that follow."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, field

from .clear_places import clear_place
from .level import litres_only
from .marks import SCREEN, Palette, element, picture, tip, words

WIDE, NARROW = (760, 360), (380, 330)
YEAR = 365.25


@dataclass(frozen=True)
class CurvePoint:
    """Sludge and scum in litres on a day: one time in ten less, middle, one time in ten more."""

    on: dt.date
    low: float
    likely: float
    high: float


@dataclass(frozen=True)
class DipMark:
    """A measured level in litres, with its standard error."""

    on: dt.date
    litres: float
    error: float = 0.0


@dataclass(frozen=True)
class ForecastFacts:
    """What the chart shows. Volumes in litres."""

    points: tuple[CurvePoint, ...]
    today: dt.date
    working_volume: float | None = None
    trigger: float | None = None
    due_on: dt.date | None = None
    ceiling_on: dt.date | None = None
    removal_low: dt.date | None = None
    removal_likely: dt.date | None = None
    removal_high: dt.date | None = None
    dips: tuple[DipMark, ...] = ()
    emptied_on: tuple[dt.date, ...] = ()
    content: str = "sludge and scum"
    say: Callable[[float], str] = field(default=litres_only)


@dataclass(frozen=True)
class Plane:
    """Days and litres on the drawing."""

    left: float
    right: float
    top: float
    bottom: float
    first: dt.date
    last: dt.date
    most: float

    def x(self, day: dt.date) -> float:
        """Where a day stands, kept inside the frame."""
        share = (day - self.first).days / max(1, (self.last - self.first).days)
        return self.left + min(1.0, max(0.0, share)) * (self.right - self.left)

    def y(self, litres: float) -> float:
        """Where a volume stands, kept inside the frame."""
        share = min(1.0, max(0.0, litres / self.most))
        return self.bottom - share * (self.bottom - self.top)

    def holds(self, day: dt.date | None) -> bool:
        """Whether a day is known and inside the frame."""
        return day is not None and self.first <= day <= self.last


def forecast_chart(
    facts: ForecastFacts,
    palette: Palette = SCREEN,
    key: str = "forecast",
    size: tuple[int, int] = WIDE,
) -> str:
    """SVG of the forecast; NARROW has the same marks with letters that a phone can show."""
    plane = plane_of(facts, size)
    body = "".join(
        [
            *grid(facts, plane, palette),
            *band(facts, plane, palette),
            *limits(facts, plane, palette),
            *days(facts, plane, palette),
            *findings(facts, plane, palette),
        ]
    )
    return picture(
        key=key,
        title=f"{facts.content.capitalize()}, found and expected",
        description=description(facts),
        size=size,
        body=body,
    )


def description(facts: ForecastFacts) -> str:
    """The chart in words."""
    parts = []
    if facts.removal_low and facts.removal_high and facts.trigger is not None:
        parts.append(
            f"The level is likely to reach {facts.say(facts.trigger)} between "
            f"{facts.removal_low:%B %Y} and {facts.removal_high:%B %Y}."
        )
    if facts.due_on:
        parts.append(f"Emptying is due on {facts.due_on:%-d %B %Y}.")
    if facts.ceiling_on:
        parts.append(f"The rule allows no later than {facts.ceiling_on:%-d %B %Y}.")
    parts.append(f"{len(facts.dips)} measured levels are shown.")
    return " ".join(parts)


def plane_of(facts: ForecastFacts, size: tuple[int, int]) -> Plane:
    """Frame that holds the curve, the days that matter and the trigger."""
    width, height = size
    known = [point.on for point in facts.points]
    known += [dip.on for dip in facts.dips]
    known += [day for day in (facts.today, facts.due_on, facts.ceiling_on) if day]
    volumes = [point.high for point in facts.points] + [dip.litres for dip in facts.dips]
    most = max([*volumes, (facts.trigger or 0) * 1.3, 1.0])
    if facts.working_volume:
        most = min(most, facts.working_volume)
    left = 64.0 if width >= 600 else 52.0
    return Plane(left, width - 16.0, 50.0, height - 44.0, min(known), max(known), most * 1.05)


def round_step(most: float, parts: int) -> float:
    """Step of 1, 2 or 5 times a power of ten that divides `most` into about `parts`."""
    rough = most / parts
    power = 10.0 ** math.floor(math.log10(rough))
    return next(power * step for step in (1, 2, 5, 10) if power * step >= rough)


def grid(facts: ForecastFacts, plane: Plane, palette: Palette) -> list[str]:
    """Lines of volume and of time with their figures."""
    parts = []
    step = round_step(plane.most, 5)
    for index in range(int(plane.most // step) + 1):
        y = plane.y(index * step)
        parts.append(
            element("line", palette.attributes("grid"), x1=plane.left, y1=y, x2=plane.right, y2=y)
        )
        text = facts.say(index * step)
        parts.append(words(palette, text, (plane.left - 6, y + 4), looks="soft end", size=12))
    for day, text in time_marks(plane):
        x = plane.x(day)
        parts.append(
            element(
                "line", palette.attributes("axis"), x1=x, y1=plane.bottom, x2=x, y2=plane.bottom + 5
            )
        )
        parts.append(words(palette, text, (x, plane.bottom + 19), looks="soft middle", size=12))
    parts.append(
        element(
            "line",
            palette.attributes("axis"),
            x1=plane.left,
            y1=plane.bottom,
            x2=plane.right,
            y2=plane.bottom,
        )
    )
    return parts


def time_marks(plane: Plane) -> list[tuple[dt.date, str]]:
    """Turns of the year, or of the quarter when less than three years are shown."""
    years = (plane.last - plane.first).days / YEAR
    room = (plane.right - plane.left) / 52
    if years < 2.5:
        months = 3 if years * 4 <= room else 6
        starts = [
            dt.date(year, month, 1)
            for year in range(plane.first.year, plane.last.year + 1)
            for month in range(1, 13, months)
        ]
        return [(day, f"{day:%b %y}") for day in starts if clear_of_edges(plane, day)]
    every = max(1, math.ceil(years / room))
    starts = [dt.date(y, 1, 1) for y in range(plane.first.year, plane.last.year + 2, every)]
    return [(day, f"{day:%Y}") for day in starts if clear_of_edges(plane, day)]


def clear_of_edges(plane: Plane, day: dt.date) -> bool:
    """Whether the words under this day stay inside the frame."""
    return plane.holds(day) and plane.x(day) + 18 <= plane.right


def band(facts: ForecastFacts, plane: Plane, palette: Palette) -> list[str]:
    """Likely range and middle line."""
    if not facts.points:
        return []
    upper = [f"{plane.x(p.on):.1f} {plane.y(p.high):.1f}" for p in facts.points]
    lower = [f"{plane.x(p.on):.1f} {plane.y(p.low):.1f}" for p in reversed(facts.points)]
    middle = [f"{plane.x(p.on):.1f} {plane.y(p.likely):.1f}" for p in facts.points]
    area = "M" + "L".join([*upper, *lower]) + "z"
    return [
        element("path", palette.attributes("band"), d=area),
        element("path", palette.attributes("median"), d="M" + "L".join(middle)),
    ]


def limits(facts: ForecastFacts, plane: Plane, palette: Palette) -> list[str]:
    """Trigger line, with the span in which the level is likely to reach it."""
    if facts.trigger is None:
        return []
    y = plane.y(facts.trigger)
    text = f"empty at {facts.say(facts.trigger)}"
    parts = [
        element("line", palette.attributes("trigger"), x1=plane.left, y1=y, x2=plane.right, y2=y),
        words(palette, text, words_at_line(facts, plane, text, y), looks="trigger-text"),
    ]
    if facts.removal_low and facts.removal_high:
        low, high = plane.x(facts.removal_low), plane.x(facts.removal_high)
        said = f"Likely reached between {facts.removal_low} and {facts.removal_high}"
        d = f"M{low:.1f} {y - 6:.1f}v12M{high:.1f} {y - 6:.1f}v12"
        parts.append(element("path", palette.attributes("due"), tip(said), d=d))
    return parts


def words_at_line(facts: ForecastFacts, plane: Plane, text: str, y: float) -> tuple[float, float]:
    """Where words at a line stand clear of curve and measured levels."""
    curve = [(plane.x(one.on), plane.y(one.high), plane.y(one.low)) for one in facts.points]
    marks = [(plane.x(dip.on), plane.y(dip.litres)) for dip in facts.dips]
    return clear_place(curve, marks, (plane.left, plane.right), text, y)


def days(facts: ForecastFacts, plane: Plane, palette: Palette) -> list[str]:
    """Today, the due day with its pennant, the last day the rule allows; words at the top."""
    parts = []
    taken: list[tuple[int, float, float]] = []
    rows = (
        (facts.due_on, "due", "due", "trigger-text strong"),
        (facts.ceiling_on, "latest", "ceiling", "ceiling-text"),
        (facts.today, "today", "today", ""),
    )
    for day, text, kind, looks in rows:
        if day is None or not plane.holds(day):
            continue
        x = plane.x(day)
        line = palette.attributes(kind)
        parts.append(element("line", line, x1=x, y1=plane.top - 6, x2=x, y2=plane.bottom))
        if kind == "due":
            flag = f"M{x:.1f} {plane.top - 6:.1f}l14 6l-14 6z"
            parts.append(element("path", palette.attributes("due-flag"), d=flag))
        width = 8.0 * len(text)
        at = min(max(x, plane.left + width / 2), plane.right - width / 2)
        row = free_row(at, width, taken)
        taken.append((row, at, width))
        place = (at, plane.top - 11 - 14 * row)
        parts.append(words(palette, text, place, looks=f"{looks} middle"))
    return parts


def free_row(at: float, width: float, taken: list[tuple[int, float, float]]) -> int:
    """Lowest row in which a word of this width touches no other."""
    row = 0
    while any(r == row and abs(at - x) < (width + w) / 2 + 4 for r, x, w in taken):
        row += 1
    return row


def findings(facts: ForecastFacts, plane: Plane, palette: Palette) -> list[str]:
    """Measured levels with their error, and the days the tank was emptied."""
    parts = []
    for day in facts.emptied_on:
        if plane.holds(day):
            x = plane.x(day)
            mark = f"M{x - 7:.1f} {plane.bottom - 13:.1f}h14l-7 12z"
            said = f"Emptied on {day:%-d %B %Y}"
            parts.append(element("path", palette.attributes("emptied"), tip(said), d=mark))
    for dip in facts.dips:
        x, y = plane.x(dip.on), plane.y(dip.litres)
        if dip.error:
            low, high = plane.y(dip.litres - dip.error), plane.y(dip.litres + dip.error)
            bar = f"M{x:.1f} {low:.1f}V{high:.1f}M{x - 4:.1f} {low:.1f}h8M{x - 4:.1f} {high:.1f}h8"
            parts.append(element("path", palette.attributes("error"), d=bar))
        said = f"{facts.say(dip.litres)} found on {dip.on:%-d %B %Y}"
        parts.append(element("circle", palette.attributes("dip"), tip(said), cx=x, cy=y, r=5.0))
    return parts
