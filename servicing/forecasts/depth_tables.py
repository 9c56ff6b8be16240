"""Litres against depth for one tank, as a table that a telephone can read without the science."""

from __future__ import annotations

import numpy as np

from servicing.forecasting.faults import BadMeasure
from servicing.forecasts.facts import shape_of
from servicing.forecasts.reading import TankRow
from servicing.models import Tank

STEPS = 48


def depth_table(tank: Tank) -> tuple[tuple[float, float], ...]:
    """Pairs of depth in mm and litres below it, from the floor to the outlet; empty if unknown.

    Straight lines between the rows come within half a percent of the working volume of the exact
    geometry. With a stated working volume the shape gives the shares and the plate the litres.
    """
    outlet = tank.outlet_height_mm
    try:
        shape = shape_of(TankRow._make(getattr(tank, name) for name in TankRow._fields))
        if shape is None or not outlet or outlet > shape.full_height_mm:
            return ()
        depths = np.linspace(0.0, float(outlet), STEPS + 1)
        litres = shape.litres_below(depths)
    except BadMeasure:
        return ()
    stated = tank.working_volume_litres
    scale = stated / float(litres[-1]) if stated else 1.0
    return tuple(
        (round(float(mm), 1), round(float(volume) * scale, 1))
        for mm, volume in zip(depths, litres, strict=True)
    )
