"""Addresses of the desk, the rounds, the messages and the owner's page."""

from scheduler.views import desk, due, job_sheet, jobs, owner_page, owner_requests, today

app_name = "scheduler"

urlpatterns = [
    *desk.urlpatterns,
    *due.urlpatterns,
    *feeds.urlpatterns,
    *jobs.urlpatterns,
    *messages.urlpatterns,
    *job_sheet.urlpatterns,
    *today.urlpatterns,
    *owner_requests.urlpatterns,
    *owner_page.urlpatterns,
]
