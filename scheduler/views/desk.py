"""The first page after signing in: what wants doing."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path


@login_required
def desk(request: HttpRequest) -> HttpResponse:
    """Show what is due and what waits for somebody."""
    return render(request, "scheduler/desk.html")


urlpatterns = [path("", desk, name="desk")]
