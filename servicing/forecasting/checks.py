"""Every fault in what is known of a system, each named with its field: never a silent number."""

from __future__ import annotations

import math
from datetime import date

from servicing.forecasting.dips import feeds_the_rate
from servicing.forecasting.facts import Dip, SystemFacts
from servicing.forecasting.faults import Fault
from servicing.forecasting.occupancy import occupancy_faults
from servicing.forecasting.tanks import solids_litres

EARLIEST = date(1900, 1, 1)


def faults_of(facts: SystemFacts, today: date) -> list[Fault]:
    """All faults of one system, empty when it can be forecast."""
    return [
        *_date_faults(facts, today),
        *_emptying_faults(facts),
        *(fault for index in range(len(facts.dips)) for fault in _dip_faults(facts, index)),
        *occupancy_faults(facts.reference, facts.occupancy),
        *_setting_faults(facts),
    ]


def _dates(facts: SystemFacts) -> list[tuple[str, date, bool]]:
    """Field, date, and whether it may lie in the future."""
    dates = [("installed_on", facts.installed_on, False)] if facts.installed_on else []
    dates += [(f"emptyings[{i}].on", made.on, False) for i, made in enumerate(facts.emptyings)]
    dates += [(f"dips[{i}].on", dip.on, False) for i, dip in enumerate(facts.dips)]
    dates += [(f"occupancy[{i}].starts", s.starts, True) for i, s in enumerate(facts.occupancy)]
    return dates


def _date_faults(facts: SystemFacts, today: date) -> list[Fault]:
    faults: list[Fault] = []
    installed = facts.installed_on
    for field, day, may_be_future in _dates(facts):
        if day < EARLIEST or day.year > today.year + 100:
            message = f"{day} is a century off"
            faults.append(Fault(facts.reference, field, "absurd_date", message))
        elif day > today and not may_be_future:
            message = f"{day} has not happened yet"
            faults.append(Fault(facts.reference, field, "future_date", message))
        elif installed and day < installed and field.startswith(("emptyings", "dips")):
            message = f"{day} is before it was installed on {installed}"
            faults.append(Fault(facts.reference, field, "before_installation", message))
    usable = any(feeds_the_rate(facts.kind, dip) for dip in facts.dips)
    counted = any(
        not one.in_part or one.left_litres is not None or one.left_share is not None
        for one in facts.emptyings
    )
    if not counted and not installed and not usable:
        message = (
            "no emptying, no installation date and no usable measurement: nothing to count from"
        )
        faults.append(Fault(facts.reference, "emptyings", "no_start", message))
    return faults


def _emptying_faults(facts: SystemFacts) -> list[Fault]:
    faults: list[Fault] = []
    seen: set[date] = set()
    volume = facts.tank.volume_litres
    for index, emptying in enumerate(facts.emptyings):
        field = f"emptyings[{index}]"
        if emptying.on in seen:
            message = f"two emptyings on {emptying.on}"
            faults.append(Fault(facts.reference, f"{field}.on", "same_day", message))
        seen.add(emptying.on)
        bounds = (
            ("left_litres", emptying.left_litres, volume),
            ("left_share", emptying.left_share, 1.0),
            ("removed_litres", emptying.removed_litres, math.inf),
        )
        for name, value, most in bounds:
            if value is not None and not (0 <= value <= most and math.isfinite(value)):
                message = f"must be between 0 and {most:g}, not {value}"
                faults.append(Fault(facts.reference, f"{field}.{name}", "out_of_range", message))
    return faults


def _dip_faults(facts: SystemFacts, index: int) -> list[Fault]:
    dip, field = facts.dips[index], f"dips[{index}]"
    if dip.litres is not None:
        if math.isfinite(dip.litres) and 0 <= dip.litres <= facts.tank.volume_litres:
            return []
        message = f"must be between 0 and the {facts.tank.volume_litres:g} L below the outlet"
        return [Fault(facts.reference, f"{field}.litres", "out_of_range", message)]
    if dip.sludge_mm is None and dip.scum_mm is None:
        message = "a dip needs sludge and scum in mm, or litres"
        return [Fault(facts.reference, f"{field}.sludge_mm", "nothing_measured", message)]
    if dip.sludge_mm is None:
        message = "the scum was measured but not the sludge: give 0 if there was none"
        return [Fault(facts.reference, f"{field}.sludge_mm", "sludge_not_measured", message)]
    return _depth_faults(facts, dip, field)


def _depth_faults(facts: SystemFacts, dip: Dip, field: str) -> list[Fault]:
    name = "compartment"
    if 0 <= dip.compartment < len(facts.tank.compartments):
        scum_is_wrong = dip.scum_mm is not None and not 0 <= dip.scum_mm < math.inf
        name = "scum_mm" if scum_is_wrong or dip.sludge_mm is None else "sludge_mm"
    try:
        solids_litres(facts.tank, dip.sludge_mm or 0.0, dip.scum_mm or 0.0, dip.compartment)
    except ValueError as wrong:
        code = "no_dimensions" if name == "compartment" else "out_of_range"
        return [Fault(facts.reference, f"{field}.{name}", code, str(wrong))]
    return []


def _setting_faults(facts: SystemFacts) -> list[Fault]:
    found: list[tuple[str, str, str]] = []
    if not 0 < facts.accepted_risk < 1:
        message = f"must be between 0 and 1, not {facts.accepted_risk}"
        found.append(("accepted_risk", "out_of_range", message))
    price = facts.year_over_price
    if price is not None and not 0 < price < math.inf:
        found.append(("year_over_price", "out_of_range", f"must be more than 0, not {price}"))
    if facts.bedrooms is not None and not 1 <= facts.bedrooms <= 500:
        message = f"must be between 1 and 500, not {facts.bedrooms}"
        found.append(("bedrooms", "out_of_range", message))
    if not 0 <= facts.backlog_litres_per_person <= 200:
        message = f"must be between 0 and 200 L, not {facts.backlog_litres_per_person}"
        found.append(("backlog_litres_per_person", "out_of_range", message))
    if facts.override is not None and not facts.override.reason.strip():
        found.append(("override.reason", "no_reason", "going another way needs a reason"))
    for index, ceiling in enumerate(facts.ceilings):
        if not 0 < ceiling.months <= 600:
            message = f"must be between 0 and 600 months, not {ceiling.months}"
            found.append((f"ceilings[{index}].months", "out_of_range", message))
    return [Fault(facts.reference, field, code, message) for field, code, message in found]
