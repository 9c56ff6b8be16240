"""What the country profile says on a day, and how sure we are of it."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from customers.models import CountryProfile, ProfileRule

if TYPE_CHECKING:
    from django.apps.registry import Apps

SHIPPED = Path(__file__).with_name("country_profiles.json")
# Rules we ship are not older than we can vouch for.
SHIPPED_FROM = dt.date(2023, 10, 2)


@dataclass(frozen=True, slots=True)
class Rule:
    """A value with its standing and its source."""

    value: Any
    standing: str
    source: str

    @property
    def is_law(self) -> bool:
        """Whether it may be shown as law."""
        return self.standing == ProfileRule.Standing.LAW


class RuleBook:
    """All rules of one profile on one day, read once."""

    def __init__(self, profile: CountryProfile, on: dt.date) -> None:
        """Read the rules that hold on the day; of two the later begun counts."""
        self.profile = profile
        rows = (
            ProfileRule.objects.filter(profile=profile, valid_from__lte=on)
            .filter(Q(valid_to__isnull=True) | Q(valid_to__gte=on))
            .order_by("valid_from")
        )
        self._rules = {
            (row.key, row.system_kind): Rule(row.value, row.standing, row.source) for row in rows
        }

    def rule(self, key: str, system_kind: str = "") -> Rule | None:
        """Rule for this kind of system, else the one for every kind."""
        return self._rules.get((key, system_kind)) or self._rules.get((key, ""))


def lay_down_profiles(apps: Apps) -> None:
    """Write the shipped profiles; what is there already stays as it is."""
    profiles = apps.get_model("customers", "CountryProfile")
    rules = apps.get_model("customers", "ProfileRule")
    for shipped in json.loads(SHIPPED.read_text(encoding="utf-8")):
        fields = {key: value for key, value in shipped.items() if key not in {"code", "rules"}}
        profile, _ = profiles.objects.get_or_create(code=shipped["code"], defaults=fields)
        for rule in shipped["rules"]:
            rules.objects.get_or_create(
                profile=profile,
                key=rule["key"],
                system_kind=rule["system_kind"],
                valid_from=SHIPPED_FROM,
                defaults={k: rule[k] for k in ("value", "standing", "source")},
            )
