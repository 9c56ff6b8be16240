"""What is missing, late or not allowed at a system by the country's profile, and what to do.

Only a confirmed rule is called law; all else is guidance, or to be checked.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from dateutil.relativedelta import relativedelta
from django.db.models import Exists, Max, OuterRef, Q
from django.utils.formats import date_format

from customers.country_rules import Rule, RuleBook
from customers.models import Party
from servicing.models import System

if TYPE_CHECKING:
    from customers.models import Organisation
    from servicing.models.systems import SystemQuerySet

# Renewals take weeks: regulators remind of them about six weeks before.
RUNS_OUT_WITHIN = dt.timedelta(days=42)
# A look round a few days late is no look missed: common practice, no source.
CHECK_GRACE = dt.timedelta(days=7)

NAMES = {
    "watercourse": "Septic tank to a watercourse",
    "not_allowed": "Kind not allowed here",
    "emptying": "Emptying late",
    "never_emptied": "No emptying known",
    "service": "Service late",
    "registration": "Registration missing",
    "registration_ends": "Registration runs out",
    "check": "Monthly look round late",
    "operator": "No owner or operator written down",
    "discharge": "Discharge not known",
}


@dataclass(frozen=True)
class Finding:
    """One thing that is not as it should be. `standing`: law, guidance, check or own."""

    code: str
    standing: str
    words: str
    to_do: str
    source: str = ""

    @property
    def name(self) -> str:
        """What kind of thing it is."""
        return NAMES[self.code]


@dataclass(frozen=True)
class Case:
    """A system, the rules that hold for it, and the day."""

    system: System
    rules: RuleBook
    today: dt.date

    def rule(self, key: str) -> Rule | None:
        """The rule of this name for systems of this kind."""
        return self.rules.rule(key, self.system.kind)

    def as_decided(self, rule: Rule) -> Rule:
        """The interval with what was decided against it, with a reason; law stays as it is."""
        if rule.is_law:
            return rule
        firm = self.system.organisation
        for months, reason in (
            (self.system.ceiling_override_months, self.system.ceiling_override_reason),
            (firm.interval_override_months, firm.interval_override_reason),
        ):
            if months:
                return Rule(months, "own", f"Decided against the guidance: {reason}")
        return rule


def systems_to_look_at(organisation: Organisation, today: dt.date) -> SystemQuerySet:
    """Systems in use with what the findings ask of each, in one query."""
    answers = Party.objects.filter(
        Q(since=None) | Q(since__lte=today),
        Q(until=None) | Q(until__gte=today),
        premises=OuterRef("premises"),
        role__in=(Party.Role.OWNER, Party.Role.OPERATOR),
    )
    return (
        System.objects.in_use()
        .filter(organisation=organisation)
        .select_related("premises", "organisation")
        .annotate(
            somebody_answers=Exists(answers), last_checked_on=Max("operator_checks__checked_on")
        )
        .order_by("reference")
    )


def findings_in(organisation: Organisation, today: dt.date) -> list[tuple[System, Finding]]:
    """Every finding at every system of an organisation, by reference."""
    rules = RuleBook(organisation.profile, today)
    return [
        (system, finding)
        for system in systems_to_look_at(organisation, today).iterator()
        for finding in findings_of(system, rules, today)
    ]


def findings_at(system: System, today: dt.date) -> list[Finding]:
    """Findings at one system."""
    organisation = system.organisation
    found = systems_to_look_at(organisation, today).filter(pk=system.pk).first()
    return list(findings_of(found, RuleBook(organisation.profile, today), today)) if found else []


def findings_of(system: System, rules: RuleBook, today: dt.date) -> Iterator[Finding]:
    """Findings at a system that came by `systems_to_look_at`, gravest first."""
    case = Case(system, rules, today)
    for look in LOOKS:
        finding = look(case)
        if finding is not None:
            yield finding


def watercourse(case: Case) -> Finding | None:
    """A septic tank must not discharge to a watercourse where a rule says so."""
    rule = case.rule("no_septic_to_watercourse")
    if rule is None or not rule.value or case.system.kind != System.Kind.SEPTIC_TANK:
        return None
    if case.system.discharge != System.Discharge.WATERCOURSE:
        return None
    return Finding(
        "watercourse",
        rule.standing,
        "A septic tank discharges to a watercourse.",
        "The operator connects to the sewer, lays a drainage field, or replaces the tank by a "
        "treatment plant, as soon as possible. Agree a plan and note it; ask the authority how "
        "long it allows.",
        rule.source,
    )


def not_allowed(case: Case) -> Finding | None:
    """A kind of system the country does not have."""
    rule = case.rule("cesspool_allowed")
    if rule is None or rule.value or case.system.kind != System.Kind.CESSPOOL:
        return None
    words = "Cesspools are not allowed for new work here."
    to_do = "Ask the authority what is to become of one that is there already."
    return Finding("not_allowed", rule.standing, words, to_do, rule.source)


def emptying(case: Case) -> Finding | None:
    """Not emptied within the interval of the profile, or of the permit."""
    if not case.system.holds_sludge:
        return None
    key = "permit_interval_months" if case.system.under_permit else "interval_months"
    rule = case.rule(key) or case.rule("interval_months")
    if rule is None:
        return None
    rule = case.as_decided(rule)
    last = case.system.last_emptied_on or case.system.installed_on
    if last is None:
        words = f"No emptying is known; it is asked for every {rule.value} months."
        to_do = "Ask the owner for the last receipt, or empty it."
        return Finding("never_emptied", rule.standing, words, to_do, rule.source)
    due = months_after(last, int(rule.value))
    if due >= case.today:
        return None
    words = f"Last emptied on {day(last)}: over {rule.value} months ago."
    return Finding("emptying", rule.standing, words, "Make a day for the emptying.", rule.source)


def service(case: Case) -> Finding | None:
    """A plant not serviced as the maker or the profile asks."""
    if case.system.kind != System.Kind.PACKAGE_PLANT:
        return None
    rule = case.rule("service_months")
    months = case.system.service_interval_months or (int(rule.value) if rule else None)
    last = case.system.last_serviced_on or case.system.installed_on
    if months is None or last is None or months_after(last, months) >= case.today:
        return None
    by_maker = case.system.service_interval_months is not None
    standing = "guidance" if by_maker or rule is None else rule.standing
    source = "The maker" if by_maker or rule is None else rule.source
    words = f"Last serviced on {day(last)}: over {months} months ago."
    return Finding("service", standing, words, "Make a day for the service.", source)


def registration(case: Case) -> Finding | None:
    """No number, where every system has one, or one that runs out."""
    system = case.system
    ends = system.registration_valid_to
    if ends is not None and ends < case.today + RUNS_OUT_WITHIN:
        gone = ends < case.today
        words = f"The registration or permit {'ran' if gone else 'runs'} out on {day(ends)}."
        to_do = "The operator renews it; note the new number and day."
        return Finding("registration_ends", "check", words, to_do)
    rule = case.rule("registration_required")
    if system.registration:
        return None
    if system.under_permit:
        words = "It runs under a permit whose number is not written down."
        return Finding("registration", "check", words, "Ask the operator for the permit.")
    if rule is None or not rule.value or system.kind not in System.HOLDS_SLUDGE:
        return None
    to_do = "Ask the operator for the number, or to register; note it at the system."
    words = "No registration or consent is written down."
    return Finding("registration", rule.standing, words, to_do, rule.source)


def check(case: Case) -> Finding | None:
    """The monthly look round that a permit asks for, or that was agreed on."""
    system = case.system
    rule = case.rule("permit_check_months") if system.under_permit else None
    if rule is None and not system.check_reminders:
        return None
    last = getattr(system, "last_checked_on", None)
    months = int(rule.value) if rule else 1
    if last is not None and months_after(last, months) + CHECK_GRACE >= case.today:
        return None
    words = f"Last look round noted: {day(last)}." if last else "No look round was ever noted."
    to_do = "Remind the operator; they tick it on their page. From outside: no cover is lifted."
    standing = rule.standing if rule else "own"
    return Finding("check", standing, words, to_do, rule.source if rule else "")


def operator(case: Case) -> Finding | None:
    """Nobody who answers for the system."""
    if getattr(case.system, "somebody_answers", True):
        return None
    words = "No owner or operator is written down: nobody is told of anything."
    return Finding("operator", "own", words, "Ask who it is and write them down at the place.")


def discharge(case: Case) -> Finding | None:
    """Where it discharges decides which rules hold."""
    if case.system.discharge or case.system.kind not in System.HOLDS_SLUDGE:
        return None
    words = "Where it discharges to is not written down: which rules hold is not known."
    return Finding("discharge", "own", words, "Let the crew look on the next visit; note it.")


LOOKS: tuple[Callable[[Case], Finding | None], ...] = (
    watercourse,
    not_allowed,
    registration,
    emptying,
    service,
    check,
    operator,
    discharge,
)


def months_after(when: dt.date, months: int) -> dt.date:
    """The same day so many months on, or the last day of a shorter month."""
    after: dt.date = when + relativedelta(months=months)
    return after


def day(when: dt.date) -> str:
    """A day in words."""
    return date_format(when, "j F Y")


def carrier_findings(organisation: Organisation, today: dt.date) -> list[str]:
    """What stands against the organisation's own registration as a carrier of waste."""
    if not organisation.carrier_registration:
        return ["No registration as a carrier of waste is written down: no transfer note prints."]
    ends = organisation.carrier_valid_to
    if ends is None or ends >= today + RUNS_OUT_WITHIN:
        return []
    word = "ran out" if ends < today else "runs out"
    return [f"The registration as a carrier of waste {word} on {day(ends)}: renew it."]
