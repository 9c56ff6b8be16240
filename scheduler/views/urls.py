"""Addresses of the desk, the rounds, the messages and the owner's page."""

from scheduler.views import desk

app_name = "scheduler"

urlpatterns = [*desk.urlpatterns]
