"""Addresses of the desk, the rounds, the messages and the owner's page."""

from scheduler.views import (
    calls,
    day_again,
    desk,
    due,
    feeds,
    fleet,
    job_sheet,
    jobs,
    links,
    messages,
    moves,
    owner_page,
    owner_requests,
    plan_new,
    plans,
    replies,
    rounds,
    today,
    told,
)

app_name = "scheduler"

urlpatterns = [
    *desk.urlpatterns,
    *due.urlpatterns,
    *feeds.urlpatterns,
    *jobs.urlpatterns,
    *rounds.urlpatterns,
    *day_again.urlpatterns,
    *plan_new.urlpatterns,
    *plans.urlpatterns,
    *moves.urlpatterns,
    *fleet.urlpatterns,
    *messages.urlpatterns,
    *replies.urlpatterns,
    *calls.urlpatterns,
    *told.urlpatterns,
    *job_sheet.urlpatterns,
    *today.urlpatterns,
    *owner_requests.urlpatterns,
    *owner_page.urlpatterns,
    *links.urlpatterns,
]
