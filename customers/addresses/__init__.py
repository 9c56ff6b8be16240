"""Postcodes, grid references and latitude with longitude: text in, WGS84 positions out.

Pure: knows neither Django nor the database.
"""

from .districts import ATTRIBUTION as ATTRIBUTION
from .districts import DistrictMiddle as DistrictMiddle
from .districts import approximate_position as approximate_position
from .grid_references import read_eastings_northings as read_eastings_northings
from .grid_references import read_grid_reference as read_grid_reference
from .grids import BRITISH_GRID as BRITISH_GRID
from .grids import IRISH_GRID as IRISH_GRID
from .grids import IRISH_TRANSVERSE_MERCATOR as IRISH_TRANSVERSE_MERCATOR
from .grids import Grid as Grid
from .grids import to_wgs84 as to_wgs84
from .positions import BRITISH_ISLES as BRITISH_ISLES
from .positions import AddressError as AddressError
from .positions import Position as Position
from .positions import looks_swapped as looks_swapped
from .positions import read_latitude_longitude as read_latitude_longitude
from .positions import read_position as read_position
from .postcodes import Postcode as Postcode
from .postcodes import read_postcode as read_postcode
