"""What a service record says of a visit."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from customers.local_days import zone_at
from servicing import volumes
from servicing.charts import PRINT, forecast_chart, level_picture
from servicing.charts.forecast import description as chart_words
from servicing.charts.level import description as level_words
from servicing.dip_readings import entered_words
from servicing.documents import Drawing, Issuer, ServiceRecord
from servicing.documents.blocks import day_words
from servicing.forecasts.measured import measured_levels
from servicing.models import Forecast, System, Visit
from servicing.system_pictures import forecast_facts, level_facts

from .people import place_words
from .proof import cover_photo, photos_words, signed_words

if TYPE_CHECKING:
    from servicing.models import Dip

YES_NO = {True: "yes", False: "no", None: ""}


def service_record_facts(visit: Visit, *, issuer: Issuer, today: dt.date) -> ServiceRecord:
    """Facts of a visit with what is expected next."""
    system, units = visit.system, visit.organisation.units
    level, chart = drawings(system, today)
    cover, digest = cover_photo(visit)
    forecast = Forecast.objects.filter(system=system).first()
    due = forecast.due_on if forecast is not None and not system.retired_on else None
    return ServiceRecord(
        issuer=issuer,
        place=str(system.premises),
        address=place_words(system.premises),
        system=system_words(system),
        registration=system.registration,
        visited_on=visit.visited_on,
        times=times_of(visit),
        crew=visit.crew_name,
        vehicle=visit.vehicle_registration,
        ground=visit.get_ground_display(),
        present=visit.who_was_present,
        carried_out_by_others=visit.carried_out_by_others,
        abandoned_because=visit.get_abandoned_because_display(),
        removed=removed(visit, units),
        readings=tuple(row for dip in visit.dips.all() for row in readings(dip, units)),
        chambers=chambers(visit),
        field=field_words(visit),
        plant=plant(visit),
        defects=tuple((one.get_severity_display(), one.what) for one in visit.defects.all()),
        cover_back=visit.lid_back_on,
        signed=signed_words(visit),
        photos=photos_words(visit),
        photo_sha256=digest,
        cover_photo=cover,
        notes=visit.notes,
        next_due=due_words(due, today),
        next_because=tuple(forecast.reasons) if forecast is not None and due else (),
        level=level,
        chart=chart,
    )


def due_words(due: dt.date | None, today: dt.date) -> str:
    """When the next emptying falls due, or since when it has been."""
    if due is None:
        return ""
    return f"due by {day_words(due)}" if due >= today else f"due since {day_words(due)}"


def system_words(system: System) -> str:
    """Kind, make and reference."""
    make = f" ({system.make_and_model})" if system.make_and_model else ""
    return f"{system.get_kind_display()} {system.reference}{make}"


def times_of(visit: Visit) -> str:
    """On site from when to when, on the clock of the place; empty where nobody noted it."""
    zone = zone_at(visit.system.premises)
    known = [at.astimezone(zone) for at in (visit.arrived_at, visit.left_at) if at is not None]
    return " to ".join(f"{at:%H:%M}" for at in known)


def removed(visit: Visit, units: str) -> tuple[tuple[str, str], ...]:
    """What was taken out and where it went."""
    emptying = getattr(visit, "emptying", None)
    if emptying is None:
        return ()
    left = volumes.spoken(emptying.left_behind_litres, units)
    pairs = (
        ("Taken out", volumes.spoken(emptying.litres_removed, units)),
        ("All compartments", "yes" if emptying.all_compartments else f"no; {left} stayed"),
        ("Refilled with water", YES_NO[emptying.refilled_with_water]),
        ("Water ran back from the outlet", "yes" if emptying.effluent_ran_back else ""),
        ("Tipped at", emptying.tipped_at),
        ("Ticket of the works", emptying.tip_ticket),
    )
    return tuple(pair for pair in pairs if pair[1])


def readings(dip: Dip, units: str) -> list[tuple[str, str, str, str]]:
    """Lines of one dip."""
    part, how = str(dip.tank), dip.get_method_display().lower()
    if dip.after_removal:
        how = f"{how}, after emptying"
    if read := entered_words(dip.entered):
        how = f"{how}; read {read}"
    values = (
        ("Sludge", "" if dip.sludge_mm is None else f"{dip.sludge_mm:,} mm"),
        ("Scum", "" if dip.scum_mm is None else f"{dip.scum_mm:,} mm"),
        ("Sludge and scum", "" if dip.litres is None else volumes.spoken(dip.litres, units)),
        (
            "Liquid against the outlet",
            "" if dip.liquid_level_mm is None else f"{dip.liquid_level_mm:+d} mm",
        ),
    )
    return [(part, what, value, how) for what, value in values if value]


def chambers(visit: Visit) -> tuple[tuple[str, str, str, str, str], ...]:
    """Lines of the chambers."""
    return tuple(
        (
            found.chamber.label,
            found.get_debris_display().lower(),
            found.get_amount_display().lower(),
            found.get_flow_display().lower(),
            found.get_action_display().lower(),
        )
        for found in visit.chamber_findings.all()
    )


def field_words(visit: Visit) -> str:
    """How the drainage field looked, in a sentence."""
    found = getattr(visit, "field_finding", None)
    if found is None:
        return ""
    smell = ", with a smell" if found.smell else ""
    return f"Surface: {found.get_surface_display().lower()}{smell}. {found.notes}".strip()


def plant(visit: Visit) -> tuple[tuple[str, str], ...]:
    """How a package plant ran."""
    check = getattr(visit, "plant_check", None)
    pairs = [("Serviced", "yes" if visit.serviced else "")]
    if check is not None:
        settled = check.settled_sludge_ml_per_l
        pairs += [
            ("Blower running", YES_NO[check.blower_running]),
            ("Air filter cleaned", YES_NO[check.air_filter_cleaned]),
            ("Alarm works", YES_NO[check.alarm_works]),
            ("Effluent clear", YES_NO[check.effluent_clear]),
            ("Settled sludge after 30 minutes", "" if settled is None else f"{settled} mL/L"),
            ("Notes", check.notes),
        ]
    return tuple(pair for pair in pairs if pair[1])


def drawings(system: System, today: dt.date) -> tuple[Drawing | None, Drawing | None]:
    """Level picture and forecast chart for paper; None where there is nothing to draw."""
    forecast = Forecast.objects.filter(system=system).first()
    if forecast is None or system.retired_on:
        return None, None
    units = system.organisation.units
    levels = measured_levels(system, today=today)
    level = level_facts(system, forecast, levels, units)
    chart = forecast_facts(system, forecast, levels, today=today, units=units)
    return (
        Drawing(svg=level_picture(level, PRINT), alt=level_words(level)) if level else None,
        Drawing(svg=forecast_chart(chart, PRINT), alt=chart_words(chart)) if chart else None,
    )
