"""The usual cautions on paper, in our own words."""

from __future__ import annotations

from .blocks import Caution, Text

CREW = Caution(
    "Stop. Do not enter.",
    (
        "No head, hand or bare arm over or in the opening. Gas monitor on before the cover moves; "
        "stand upwind; if it sounds, walk away and ring in.",
        "Someone down? Do not go after them. Ring the emergency number and ask for "
        "confined-space rescue.",
        "Barrier the opening and never leave it. Isolate the power first on plants. Ground wet or "
        "water high: take only part, then refill. Gloves on, cuts covered, wash before you eat.",
        "Last act: cover back, bolts in, photograph it.",
    ),
)

OWNER = Caution(
    "Please do not lift the cover or look inside.",
    (
        "Gas in the tank can kill without warning. Never reach or climb in after something "
        "dropped. Keep children and animals away.",
        "Cover loose, cracked or missing? Stand guard, cover it if you safely can, and ring us "
        "at once. Do not switch a treatment plant off. If sewage comes up in house or garden: "
        "keep off it, stop using water, wash your hands, and call.",
    ),
)

LEFT_REACHABLE = Text(
    "We will never ask you to open the tank. You only need to leave the cover reachable."
)

LOCAL_CODES = Text(
    "Local codes and the maker's instructions come first; work on the system belongs to licensed, "
    "competent people.",
    soft=True,
)
