"""An invented valley to try things out on. Nobody and nothing in it exists."""

from scheduler.demo.sheet import sheet_path as sheet_path
from scheduler.demo.today import omars_page as omars_page
from scheduler.demo.valley import load_demo as load_demo
from scheduler.demo.valley import logins as logins
