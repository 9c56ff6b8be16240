"""What the next owner is told when premises are sold."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from customers.country_rules import Rule, RuleBook
from customers.models import Agreement
from servicing import volumes
from servicing.documents import Duty, HandoverPack, Issuer, PackSystem, PlanPoint
from servicing.documents.blocks import day_words
from servicing.models import Defect, Forecast, System, Tank, Visit

from .people import place_words
from .visits import drawings, due_words, system_words

if TYPE_CHECKING:
    from customers.models import Premises

VISITS_SHOWN = 40

# What a country wants at a sale beside the notice; "law" only where the rule itself was read.
AT_A_SALE: dict[str, tuple[str, bool]] = {
    "wales": (
        "Registration with Natural Resources Wales must be in the new occupier's name, and "
        "records are passed on to the next occupier (Environmental Permitting (England and Wales) "
        "Regulations 2016, Schedule 3, Part 2, paragraph 2(2)).",
        False,
    ),
    "scotland": (
        "Proof of registration with the Scottish Environment Protection Agency is needed when the "
        "premises change hands.",
        True,
    ),
    "northern-ireland": (
        "The transfer of the discharge consent is notified to the Northern Ireland Environment "
        "Agency, usually within 21 days of the sale.",
        False,
    ),
    "ireland": ("The certificate of registration is needed at a sale.", False),
}

# Approved Document H (England), maintenance notices: from memory, hence to be checked.
LOOKS: dict[str, tuple[tuple[str, str], ...]] = {
    System.Kind.SEPTIC_TANK: (("Look at the inspection chamber: clear and flowing", "monthly"),),
    System.Kind.CESSPOOL: (("Look for overflow", "fortnightly"),),
    System.Kind.PACKAGE_PLANT: (("Look at the alarm lamp and the sampling chamber", "monthly"),),
}
FIELD_LOOK = ("Look for standing water or wet ground over the field", "monthly")
FROM_MEMORY = "Approved Document H, guidance on maintenance, from memory"


def handover_facts(premises: Premises, *, issuer: Issuer, today: dt.date) -> HandoverPack:
    """Facts of the pack; nobody who lived there is named in it."""
    profile = premises.organisation.profile
    rules = RuleBook(profile, today)
    systems = (
        System.objects.in_use()
        .filter(premises=premises)
        .select_related("organisation__profile", "premises__organisation", "drainage_field")
        .prefetch_related("tanks", "chambers")
    )
    notice, sale = rules.rule("sale_notice"), AT_A_SALE.get(profile.code)
    return HandoverPack(
        issuer=issuer,
        place=str(premises),
        address=place_words(premises),
        compiled_on=today,
        systems=tuple(pack_system(one, rules, today) for one in systems),
        notice_law=notice.source if notice and notice.is_law else "",
        authority_notes=(sale[0],) if sale and sale[1] else (),
        to_check=to_check(notice, sale),
        agreement=agreement_words(premises, today),
        record_years=years_words(rules.rule("record_years")),
        emergency_line=profile.emergency_line,
    )


def to_check(notice: Rule | None, sale: tuple[str, bool] | None) -> tuple[str, ...]:
    """What is said without being confirmed law."""
    lines = [sale[0]] if sale and not sale[1] else []
    if notice is None:
        lines.append(
            "No rule of this country that asks for a written notice is confirmed; it is given all "
            "the same."
        )
    return tuple(lines)


def years_words(rule: Rule | None) -> str:
    """How long records are kept and who says so."""
    if rule is None:
        return ""
    return f"{rule.value} years ({'' if rule.is_law else 'check: '}{rule.source})"


def agreement_words(premises: Premises, today: dt.date) -> str:
    """The agreement that runs, without its price."""
    running = Agreement.objects.filter(premises=premises).current(today).select_related("plan")
    agreement = running.first()
    if agreement is None:
        return "none runs at present"
    return f"{agreement.plan} until {day_words(agreement.ends_on)}; ask us to carry it over"


def pack_system(system: System, rules: RuleBook, today: dt.date) -> PackSystem:
    """One system."""
    visits = system.visits.that_count().select_related("emptying")
    forecast = Forecast.objects.filter(system=system).first()
    due = due_words(forecast.due_on, today) if forecast is not None else ""
    open_defects = Defect.objects.filter(
        visit__in=system.visits.that_count(), mended_on__isnull=True
    )
    return PackSystem(
        name=f"{system.get_kind_display()} {system.reference}",
        description=description(system),
        parts=tuple((str(tank), tank_words(tank)) for tank in system.tanks.all()),
        points=points(system),
        position_note=system.lid_note,
        duties=tuple(duties(system, rules)),
        history=tuple(history_line(visit) for visit in visits[:VISITS_SHOWN]),
        history_left_out=max(0, visits.count() - VISITS_SHOWN),
        defects=tuple(f"{one.get_severity_display()}: {one.what}" for one in open_defects),
        warnings=warnings(system, rules),
        next_due=(f"Emptying is {due}.",) if due else (),
        level=drawings(system, today)[0],
    )


def warnings(system: System, rules: RuleBook) -> tuple[str, ...]:
    """What a confirmed rule forbids and is there all the same."""
    rule = rules.rule("no_septic_to_watercourse", system.kind)
    if rule is None or not rule.is_law or system.discharge != System.Discharge.WATERCOURSE:
        return ()
    return (f"It is recorded as discharging to a watercourse. {rule.source}.",)


def description(system: System) -> tuple[tuple[str, str], ...]:
    """What it is and what it was made for."""
    field = getattr(system, "drainage_field", None)
    area = f"{field.area_m2:.0f} m²" if field is not None and field.area_m2 else ""
    people = system.design_population
    return (
        ("System", system_words(system)),
        ("Serial number", system.serial_number),
        ("Installed", day_words(system.installed_on)),
        ("Made for", f"{people} people" if people else ""),
        ("Discharges to", system.get_discharge_display()),
        ("Drainage field", area),
        ("Registration, consent or permit", registration_words(system)),
        ("Last emptied", day_words(system.last_emptied_on)),
        ("Last serviced", day_words(system.last_serviced_on)),
    )


def tank_words(tank: Tank) -> str:
    """Volume, shape and material."""
    units = tank.system.organisation.units
    volume = tank.working_volume_litres
    parts = (
        f"{volumes.spoken(volume, units)} below the outlet" if volume else "",
        "" if tank.shape == Tank.Shape.UNKNOWN else within(tank.get_shape_display()),
        within(tank.get_material_display()),
    )
    return ", ".join(part for part in parts if part) or "nothing more is recorded"


def registration_words(system: System) -> str:
    """Number, in whose name, and until when."""
    until = system.registration_valid_to
    parts = (
        system.registration,
        f"in the name of {system.registration_holder}" if system.registration_holder else "",
        f"valid until {day_words(until)}" if until else "",
        "a permit of its own" if system.under_permit else "",
    )
    return ", ".join(part for part in parts if part)


def within(name: str) -> str:
    """A name within a sentence: its first letter small, what is short for a word not."""
    return name[:1].lower() + name[1:]


def points(system: System) -> tuple[PlanPoint, ...]:
    """Measured positions, the cover first."""
    places = [("Cover", system.lid_latitude, system.lid_longitude)]
    places += [(one.label, one.latitude, one.longitude) for one in system.chambers.all()]
    return tuple(
        PlanPoint(label=label, latitude=latitude, longitude=longitude)
        for label, latitude, longitude in places
        if latitude is not None and longitude is not None
    )


def duties(system: System, rules: RuleBook) -> list[Duty]:
    """Maintenance with who asks for it."""
    found = []
    named = (("interval_months", "Emptying, at the latest"), ("service_months", "Service"))
    for key, what in named:
        rule = rules.rule(key, system.kind)
        if rule is not None:
            often = f"every {rule.value} months"
            found.append(
                Duty(what=what, how_often=often, source=rule.source, confirmed=rule.is_law)
            )
    makers = (
        ("Emptying", system.maker_interval_months),
        ("Service", system.service_interval_months),
    )
    found += [
        Duty(what=what, how_often=f"every {months} months", source="The maker", confirmed=True)
        for what, months in makers
        if months
    ]
    looks = list(LOOKS.get(system.kind, ()))
    if system.discharge == System.Discharge.DRAINAGE_FIELD:
        looks.append(FIELD_LOOK)
    found += [
        Duty(what=what, how_often=often, source=FROM_MEMORY, confirmed=False)
        for what, often in looks
    ]
    return found


def history_line(visit: Visit) -> tuple[str, str, str]:
    """Day, what was done, by whom: a firm, never a person."""
    emptying = getattr(visit, "emptying", None)
    done = []
    if emptying is not None:
        litres = volumes.spoken(emptying.litres_removed, visit.organisation.units)
        part = "" if emptying.all_compartments else " in part"
        done.append(f"emptied{part}, {litres} taken away")
    if visit.serviced:
        done.append("serviced")
    by = "somebody else, as recorded" if visit.carried_out_by_others else visit.organisation.name
    words = ", ".join(done) or "looked at"
    return day_words(visit.visited_on), f"{words[0].upper()}{words[1:]}", by
