"""Pictures of a system as SVG text: pure functions of a dataclass, for the screen and for paper."""

from .forecast import CurvePoint as CurvePoint
from .forecast import DipMark as DipMark
from .forecast import ForecastFacts as ForecastFacts
from .forecast import forecast_chart as forecast_chart
from .level import LevelFacts as LevelFacts
from .level import level_picture as level_picture
from .lid_sketch import TwoCorners as TwoCorners
from .lid_sketch import away as away
from .lid_sketch import lid_sketch as lid_sketch
from .marks import PRINT as PRINT
from .marks import SCREEN as SCREEN
