"""Addresses of the desk, the rounds, the messages and the owner's page."""

from scheduler.views import desk, due, jobs

app_name = "scheduler"

urlpatterns = [
    *desk.urlpatterns,
    *due.urlpatterns,
    *jobs.urlpatterns,
]
