from .occupancy import OccupancyForm as OccupancyForm
from .parts import ChamberForm as ChamberForm
from .parts import DrainageFieldForm as DrainageFieldForm
from .parts import TankForm as TankForm
from .systems import OverrideForm as OverrideForm
from .systems import SystemForm as SystemForm
