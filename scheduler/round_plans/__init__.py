"""The bridge between rows and the planner: nothing else reaches scheduler.routing."""

from scheduler.routing.errors import ProblemError as ProblemError

from .asking import OPEN_STATES as OPEN_STATES
from .asking import ask_to_stop as ask_to_stop
from .asking import is_silent as is_silent
from .asking import plan_anew as plan_anew
from .asking import start_again as start_again
from .asking import start_plan as start_plan
from .asking import waiting_runs as waiting_runs
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
from .plan_sheets import planned_sheet as planned_sheet
from .prices import prices_of as prices_of
from .problem import Fleet as Fleet
from .problem import fleet_of as fleet_of
from .settings import LONGEST_SEARCH_SECONDS as LONGEST_SEARCH_SECONDS
from .settings import PlanSettings as PlanSettings
from .upkeep import time_without as time_without
from .why_now import why_now as why_now
from .working import run_plan as run_plan
