"""What the map script is told: where the coast is, and whose tiles to show, if any."""

from __future__ import annotations

from django import template
from django.conf import settings
from django.templatetags.static import static

register = template.Library()


@register.simple_tag
def map_settings() -> dict[str, str]:
    """Addresses for the map script; without a tile address it draws the coast outline only."""
    return {
        "coast": static("scheduler/data/coast.geojson"),
        "tiles": settings.MAP_TILE_URL,
        "attribution": settings.MAP_TILE_ATTRIBUTION,
    }
