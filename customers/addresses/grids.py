"""The national grids as transverse Mercator projections, and the way from them to WGS84.

Formulas and British constants: Ordnance Survey, "A guide to coordinate systems in Great Britain",
annexes A to C (D00659). Irish constants: EPSG 29903 (TM75 / Irish Grid) with transformation 1954,
and EPSG 2157 (Irish Transverse Mercator). The seven-parameter shift is good to about 5 m in Great
Britain (the guide, §6.6) and 1 m in Ireland (EPSG): ample for finding a lid, not for setting out.
"""

from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin, sqrt, tan

from .positions import Position

ARCSECONDS_A_RADIAN = 206_264.806_247


@dataclass(frozen=True, slots=True)
class Ellipsoid:
    """Semi-axes in metres."""

    major: float
    minor: float

    @property
    def eccentricity_squared(self) -> float:
        """First eccentricity, squared."""
        return 1 - (self.minor / self.major) ** 2


@dataclass(frozen=True, slots=True)
class Shift:
    """Position-vector transformation to WGS84: metres, arc seconds and parts per million."""

    x: float
    y: float
    z: float
    rotation_x: float
    rotation_y: float
    rotation_z: float
    scale_ppm: float


@dataclass(frozen=True, slots=True)
class Grid:
    """A transverse Mercator grid; origin in degrees, false origin and extent in metres."""

    name: str
    ellipsoid: Ellipsoid
    scale: float
    origin_latitude: float
    origin_longitude: float
    false_easting: float
    false_northing: float
    max_easting: float
    max_northing: float
    shift: Shift | None


WGS84 = Ellipsoid(6_378_137.0, 6_356_752.314_245)
AIRY_1830 = Ellipsoid(6_377_563.396, 6_356_256.909)
AIRY_MODIFIED = Ellipsoid(6_377_340.189, 6_356_034.448)

BRITISH_GRID = Grid(
    "British National Grid", AIRY_1830, 0.999_601_271_7, 49.0, -2.0, 400_000.0, -100_000.0,
    700_000.0, 1_300_000.0,
    Shift(446.448, -125.157, 542.060, 0.1502, 0.2470, 0.8421, -20.4894),
)  # fmt: skip
IRISH_GRID = Grid(
    "Irish Grid", AIRY_MODIFIED, 1.000_035, 53.5, -8.0, 200_000.0, 250_000.0,
    400_000.0, 500_000.0,
    Shift(482.5, -130.6, 564.6, -1.042, -0.214, -0.631, 8.15),
)  # fmt: skip
IRISH_TRANSVERSE_MERCATOR = Grid(
    "Irish Transverse Mercator", WGS84, 0.999_820, 53.5, -8.0, 600_000.0, 750_000.0,
    800_000.0, 1_000_000.0, None,
)  # fmt: skip


def to_wgs84(grid: Grid, easting: float, northing: float) -> Position:
    """Return the WGS84 position of a point given in metres east and north on the grid."""
    latitude, longitude = to_ellipsoid(grid, easting, northing)
    if grid.shift is None:
        return Position(degrees(latitude), degrees(longitude))
    x, y, z = _shifted(grid.shift, *_cartesian(grid.ellipsoid, latitude, longitude))
    return Position(*(degrees(angle) for angle in _geodetic(WGS84, x, y, z)))


def to_ellipsoid(grid: Grid, easting: float, northing: float) -> tuple[float, float]:
    """Return latitude and longitude in radians on the grid's own ellipsoid (the guide, C.2)."""
    ellipsoid = grid.ellipsoid
    latitude = _foot_latitude(grid, northing)
    e2, sine, tangent, secant = (
        ellipsoid.eccentricity_squared, sin(latitude), tan(latitude), 1 / cos(latitude),
    )  # fmt: skip
    nu = ellipsoid.major * grid.scale / sqrt(1 - e2 * sine**2)
    rho = nu * (1 - e2) / (1 - e2 * sine**2)
    eta2, t2 = nu / rho - 1, tangent**2
    east = easting - grid.false_easting
    north_terms = (
        tangent / (2 * rho * nu),
        -tangent / (24 * rho * nu**3) * (5 + 3 * t2 + eta2 - 9 * t2 * eta2),
        tangent / (720 * rho * nu**5) * (61 + 90 * t2 + 45 * t2**2),
    )
    east_terms = (
        secant / nu,
        -secant / (6 * nu**3) * (nu / rho + 2 * t2),
        secant / (120 * nu**5) * (5 + 28 * t2 + 24 * t2**2),
        -secant / (5040 * nu**7) * (61 + 662 * t2 + 1320 * t2**2 + 720 * t2**3),
    )
    northward = sum(term * east ** (2 * power + 2) for power, term in enumerate(north_terms))
    eastward = sum(term * east ** (2 * power + 1) for power, term in enumerate(east_terms))
    return latitude - northward, radians(grid.origin_longitude) + eastward


def _foot_latitude(grid: Grid, northing: float) -> float:
    origin = radians(grid.origin_latitude)
    radius = grid.ellipsoid.major * grid.scale
    latitude, arc = origin, 0.0
    for _ in range(20):
        latitude += (northing - grid.false_northing - arc) / radius
        arc = _meridian_arc(grid, latitude)
        if abs(northing - grid.false_northing - arc) < 1e-5:
            break
    return latitude


def _meridian_arc(grid: Grid, latitude: float) -> float:
    a, b = grid.ellipsoid.major, grid.ellipsoid.minor
    n = (a - b) / (a + b)
    origin = radians(grid.origin_latitude)
    difference, total = latitude - origin, latitude + origin
    return (
        b
        * grid.scale
        * (
            (1 + n + 5 / 4 * n**2 + 5 / 4 * n**3) * difference
            - (3 * n + 3 * n**2 + 21 / 8 * n**3) * sin(difference) * cos(total)
            + 15 / 8 * (n**2 + n**3) * sin(2 * difference) * cos(2 * total)
            - 35 / 24 * n**3 * sin(3 * difference) * cos(3 * total)
        )
    )


def _cartesian(
    ellipsoid: Ellipsoid, latitude: float, longitude: float
) -> tuple[float, float, float]:
    e2 = ellipsoid.eccentricity_squared
    nu = ellipsoid.major / sqrt(1 - e2 * sin(latitude) ** 2)
    return (
        nu * cos(latitude) * cos(longitude),
        nu * cos(latitude) * sin(longitude),
        (1 - e2) * nu * sin(latitude),
    )


def _shifted(shift: Shift, x: float, y: float, z: float) -> tuple[float, float, float]:
    rx, ry, rz = (
        angle / ARCSECONDS_A_RADIAN
        for angle in (shift.rotation_x, shift.rotation_y, shift.rotation_z)
    )
    scale = 1 + shift.scale_ppm * 1e-6
    return (
        shift.x + scale * x - rz * y + ry * z,
        shift.y + rz * x + scale * y - rx * z,
        shift.z - ry * x + rx * y + scale * z,
    )


def _geodetic(ellipsoid: Ellipsoid, x: float, y: float, z: float) -> tuple[float, float]:
    e2, across = ellipsoid.eccentricity_squared, hypot(x, y)
    latitude = atan2(z, across * (1 - e2))
    for _ in range(10):
        nu = ellipsoid.major / sqrt(1 - e2 * sin(latitude) ** 2)
        latitude = atan2(z + e2 * nu * sin(latitude), across)
    return latitude, atan2(y, x)
