"""The only bridge from rows to the accumulation science and back."""

from .depth_tables import depth_table as depth_table
from .dip_worth import value_dips as value_dips
from .learning import learn_fleet_of as learn_fleet_of
from .refresh import refresh_forecast as refresh_forecast
from .refresh import refresh_forecasts as refresh_forecasts
from .track_record import check_forecasts as check_forecasts
