"""What bears on the forecasts of a whole organisation: rules, settings, what its fleet taught."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import partial
from hashlib import blake2b
from typing import TYPE_CHECKING

from customers.country_rules import RuleBook
from customers.models import Agreement, Organisation
from servicing.forecasting.accumulation import BOOK_PRIOR, Prior
from servicing.forecasting.inspection_date import USUAL_CHAMBERS, ChamberPrior
from servicing.forecasting.outcomes import MODEL_VERSION
from servicing.forecasts.facts import Promise
from servicing.forecasts.quiet import quiet_periods
from servicing.forecasts.strata import stratum_of
from servicing.forecasts.wording import litres_words
from servicing.models import FleetLearning, StratumLearning

if TYPE_CHECKING:
    from collections.abc import Callable

    from servicing.forecasting.chambers import QuietPeriod
    from servicing.forecasts.reading import OnRecord

# Raised when rows say something new from the same facts, so that they are written anew.
WORDING_VERSION = "4"
RULES = (
    "trigger_share", "trigger_sludge_clear_mm", "trigger_scum_clear_mm", "interval_months",
    "default_volume_litres", "service_months",
)  # fmt: skip


@dataclass
class Circumstances:
    """One organisation on one day."""

    organisation: Organisation
    rules: RuleBook
    prior: Prior
    strata: dict[str, Prior]
    chamber_priors: dict[str, ChamberPrior]
    quiet: list[QuietPeriod]
    _settings: str = field(init=False)
    _looks: str = field(init=False)
    _by_kind: dict[tuple[str, str], str] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Write down once what every fingerprint holds."""
        own = self.organisation
        self._settings = repr((
            MODEL_VERSION, WORDING_VERSION, own.units, own.accepted_risk, own.dates_by,
            own.year_over_price, own.interval_override_months, own.interval_override_reason,
        ))  # fmt: skip
        # How many taught a lesson is no part of it: a lesson that says the same is the same.
        priors = {kind: replace(prior, chambers=0) for kind, prior in self.chamber_priors.items()}
        self._looks = repr((
            priors, own.year_of_trouble_price, self.quiet[:1], self.quiet[-1:]
        ))  # fmt: skip

    def prior_for(self, record: OnRecord) -> Prior:
        """What a system is like before it is measured: by its kind of place, else by the firm."""
        return self.strata.get(stratum_of(record), self.prior)

    @property
    def litres(self) -> Callable[[float], str]:
        """Litres as this organisation writes volumes."""
        return partial(litres_words, units=self.organisation.units)

    def fingerprint(self, record: OnRecord, promise: Promise | None) -> str:
        """Fingerprint of everything a system's forecast is worked out from, but for the day."""
        kind, stratum = record.system.kind, stratum_of(record)
        if (kind, stratum) not in self._by_kind:
            rules = [self.rules.rule(key, kind) for key in RULES]
            prior = replace(self.strata.get(stratum, self.prior), systems=0)
            self._by_kind[kind, stratum] = f"{self._settings}{prior}{rules}"
        looks = self._looks if record.chambers else ""
        told = f"{self._by_kind[kind, stratum]}{looks}{promise}{record.as_text()}"
        return blake2b(told.encode(), digest_size=16).hexdigest()


class CircumstancesOfAll:
    """Circumstances of each organisation met in one run, found out once."""

    def __init__(self, *, today: dt.date) -> None:
        """Begin with none."""
        self.today = today
        self._known: dict[int, Circumstances] = {}

    def of(self, organisation_id: int) -> Circumstances:
        """Circumstances of one organisation."""
        if organisation_id not in self._known:
            organisation = Organisation.objects.select_related("profile").get(pk=organisation_id)
            self._known[organisation_id] = circumstances_of(organisation, today=self.today)
        return self._known[organisation_id]


def circumstances_of(organisation: Organisation, *, today: dt.date) -> Circumstances:
    """What bears on an organisation's forecasts today."""
    learned = FleetLearning.objects.filter(organisation=organisation).first()
    return Circumstances(
        organisation=organisation,
        rules=RuleBook(organisation.profile, today),
        prior=prior_of(learned),
        strata={
            row.stratum: prior_of(row)
            for row in StratumLearning.objects.filter(organisation=organisation)
        },
        chamber_priors=chamber_priors_of(learned),
        quiet=quiet_periods(organisation.profile, today=today),
    )


def prior_of(learned: FleetLearning | StratumLearning | None) -> Prior:
    """What systems are like before they are measured: as learned, or by the book."""
    if learned is None:
        return BOOK_PRIOR
    first, second, third = learned.exponent_weights
    return Prior(
        median_rate=learned.median_rate,
        log_sd=learned.log_sd,
        exponent_weights=(first, second, third),
        dip_error=learned.dip_error,
        dip_doubt=learned.dip_doubt,
        systems=learned.systems,
    )


def chamber_priors_of(learned: FleetLearning | None) -> dict[str, ChamberPrior]:
    """What chambers and filters are like before anybody looks: as learned, or the usual."""
    if learned is None:
        return dict(USUAL_CHAMBERS)
    return {
        "chamber": ChamberPrior(learned.chamber_rate, learned.chamber_shape, learned.chambers),
        "filter": ChamberPrior(learned.filter_rate, learned.filter_shape, learned.filters),
    }


def promises(places: Iterable[int], *, today: dt.date) -> dict[int, Promise]:
    """What the current agreement at each place promises; of two the one that runs longer."""
    rows = (
        Agreement.objects.current(today)
        .filter(premises__in=set(places))
        .order_by("ends_on", "pk")
        .values_list("premises_id", "plan__name", "plan__emptying_interval_months")
    )
    return {place: Promise(plan, months) for place, plan, months in rows}
