"""What the job sheet on paper says of a system; the job itself is told by the caller."""

from __future__ import annotations

from typing import TYPE_CHECKING

from servicing.documents import Issuer, JobSheetFacts
from servicing.models import System

from .people import place_words
from .visits import readings, removed, system_words

if TYPE_CHECKING:
    from customers.models import Premises


def crew_sheet_facts(
    system: System,
    *,
    issuer: Issuer,
    work: str,
    why: str = "",
    promised: str = "",
    contact: str = "",
    notes: str = "",
    to_take_out: str = "",
) -> JobSheetFacts:
    """Facts of the sheet: where the cover is, what stands in the way, what was found last."""
    at = ""
    if system.latitude is not None and system.longitude is not None:
        sure = "of the cover" if system.lid_latitude is not None else "of the place only"
        at = f"{system.latitude:.5f}, {system.longitude:.5f} ({sure})"
    return JobSheetFacts(
        issuer=issuer,
        work=work,
        place=str(system.premises),
        address=place_words(system.premises),
        system=system_words(system),
        promised=promised,
        why=why,
        contact=contact,
        cover=system.lid_note,
        position=at,
        access=access_words(system.premises),
        notes=notes,
        to_take_out=to_take_out,
        last_found=last_found(system),
        parts=tuple(str(tank) for tank in system.tanks.all()),
        chambers=tuple(chamber.label for chamber in system.chambers.all()),
        is_plant=system.kind == System.Kind.PACKAGE_PLANT,
        has_field=system.discharge in {System.Discharge.DRAINAGE_FIELD, System.Discharge.SOAKAWAY},
    )


def access_words(premises: Premises) -> tuple[tuple[str, str], ...]:
    """What stands in a tanker's way; the gate code is not printed."""

    def metres(mm: int | None) -> str:
        return f"{mm / 1000:.2f} m" if mm else ""

    limit = premises.weight_limit_kg
    pairs = (
        ("Gate", metres(premises.gate_width_mm)),
        ("Height", metres(premises.height_limit_mm)),
        ("Weight", f"{limit / 1000:.1f} t" if limit else ""),
        ("Hose", f"{premises.hose_run_m:.0f} m" if premises.hose_run_m else ""),
        ("Stand on", premises.get_surface_display().lower()),
        ("Dog", "yes" if premises.dog else ""),
        ("Getting there", premises.access_note),
    )
    return tuple(pair for pair in pairs if pair[1])


def last_found(system: System) -> tuple[str, ...]:
    """The last visit that counts, in sentences."""
    last = system.visits.that_count().prefetch_related("dips__tank").first()
    if last is None:
        return ()
    units = system.organisation.units
    lines = [f"On {last.visited_on.day} {last.visited_on:%B %Y}"]
    lines += [f"{name}: {value}" for name, value in removed(last, units)]
    for dip in last.dips.all():
        lines += [
            f"{part}: {what.lower()} {value}" for part, what, value, _ in readings(dip, units)
        ]
    return tuple(lines)
