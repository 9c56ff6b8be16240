"""The bridge between rows and the planner: nothing else reaches scheduler.routing."""

from scheduler.routing.errors import ProblemError as ProblemError

from .board import Board as Board
from .board import board_of as board_of
from .clock import LocalClock as LocalClock
from .clock import arrival_span as arrival_span
from .clock import seconds_of as seconds_of
from .job_choice import TANKER_WORK as TANKER_WORK
from .job_choice import candidates as candidates
from .job_choice import standing_appointment as standing_appointment
from .moves import Look as Look
from .moves import look_at_move as look_at_move
from .moves import look_at_taking_off as look_at_taking_off
from .moves import make_move as make_move
from .problem import Fleet as Fleet
from .problem import fleet_of as fleet_of
from .runs import ask_to_stop as ask_to_stop
from .runs import is_silent as is_silent
from .runs import run_plan as run_plan
from .runs import start_again as start_again
from .runs import start_plan as start_plan
from .settings import LONGEST_SEARCH_SECONDS as LONGEST_SEARCH_SECONDS
from .settings import PlanSettings as PlanSettings
