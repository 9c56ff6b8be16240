"""SVG elements and the two ways of colouring them.

On the screen an element carries class names and the style sheet gives the colours, so that light,
dark and paper differ without another picture and no style attribute is needed. In a PDF there is
no style sheet: there the same names become presentation attributes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape


@dataclass(frozen=True)
class Palette:
    """How the name of a kind of mark becomes attributes; without `looks`, a class."""

    looks: dict[str, dict[str, str]] = field(default_factory=dict)

    def attributes(self, names: str) -> dict[str, str]:
        """Attributes of an element of these kinds, later names winning."""
        if not self.looks:
            return {"class": " ".join(f"c-{name}" for name in names.split())}
        found: dict[str, str] = {}
        for name in names.split():
            found.update(self.looks[name])
        return found


SCREEN = Palette()

INK, SOFT, WATER, RED, VIOLET = "#14262c", "#47585d", "#0a5a68", "#98261a", "#5c4a8a"
FONT = "Atkinson Hyperlegible"

PRINT = Palette(
    {
        "text": {"font-family": FONT, "fill": INK},
        "soft": {"fill": SOFT},
        "end": {"text-anchor": "end"},
        "middle": {"text-anchor": "middle"},
        "strong": {"font-weight": "bold"},
        "air": {"fill": "#f7f5ef"},
        "water": {"fill": "#bfdfe0"},
        "sludge": {"fill": "#b39c7d"},
        "scum": {"fill": "#dcc387"},
        "shell": {"fill": "none", "stroke": "#55656a", "stroke-width": "3"},
        "ground": {"stroke": "#55656a", "stroke-width": "1.5"},
        "grid": {"stroke": "#d6d1c4", "stroke-width": "1"},
        "axis": {"stroke": "#7c8688", "stroke-width": "1"},
        "lead": {"fill": "none", "stroke": SOFT, "stroke-width": "1"},
        "band": {"fill": "#a9cfd3"},
        "median": {"fill": "none", "stroke": WATER, "stroke-width": "2.5"},
        "trigger": {
            "fill": "none",
            "stroke": RED,
            "stroke-width": "2",
            "stroke-dasharray": "9 4",
        },
        "ceiling": {"stroke": VIOLET, "stroke-width": "2", "stroke-dasharray": "2 4"},
        "today": {"stroke": INK, "stroke-width": "1"},
        "due": {"stroke": RED, "stroke-width": "2"},
        "due-flag": {"fill": RED},
        "dip": {"fill": "#ffffff", "stroke": INK, "stroke-width": "2"},
        "error": {"stroke": INK, "stroke-width": "1.5"},
        "emptied": {"fill": WATER},
        "trigger-text": {"fill": RED},
        "ceiling-text": {"fill": VIOLET},
    }
)


def number(value: float) -> str:
    """Coordinate to a tenth, without a needless point."""
    return f"{value:.1f}".removesuffix(".0")


def element(
    name: str, attributes: dict[str, str], content: str = "", /, **places: float | str
) -> str:
    """One SVG element; underscores in the names of `places` become hyphens."""
    pairs = dict(attributes)
    for key, value in places.items():
        text = value if isinstance(value, str) else number(value)
        pairs[key.replace("_", "-")] = text
    inside = " ".join(f'{key}="{escape(value)}"' for key, value in pairs.items())
    return f"<{name} {inside}>{content}</{name}>" if content else f"<{name} {inside}/>"


def tip(text: str) -> str:
    """Words shown when pointing at a mark."""
    return f"<title>{escape(text)}</title>"


def words(
    palette: Palette, text: str, at: tuple[float, float], *, looks: str = "", size: int = 14
) -> str:
    """A line of text with its baseline at `at`."""
    kinds = f"text {looks}".strip()
    x, y = at
    return element("text", palette.attributes(kinds), escape(text), x=x, y=y, font_size=str(size))


def picture(*, key: str, title: str, description: str, size: tuple[int, int], body: str) -> str:
    """Whole SVG image with a name and a description for those who do not see it."""
    width, height = size
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'aria-labelledby="{key}-title {key}-desc">'
        f'<title id="{key}-title">{escape(title)}</title>'
        f'<desc id="{key}-desc">{escape(description)}</desc>{body}</svg>'
    )
