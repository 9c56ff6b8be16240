"""The only bridge from rows to the accumulation science and back."""

from .refresh import refresh_forecast as refresh_forecast
from .refresh import refresh_forecasts as refresh_forecasts
