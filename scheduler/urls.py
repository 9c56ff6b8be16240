"""Addresses of the site."""

from django.contrib import admin
from django.urls import include, path

from scheduler.health import health
from scheduler.metrics import metrics

urlpatterns = [
    path("health/", health, name="health"),
    path("metrics/", metrics, name="metrics"),
    path("", include("scheduler.views.urls")),
    path("register/", include("servicing.views.urls")),
    path("", include("customers.views.urls")),
    path("accounts/", include("django.contrib.auth.urls")),
    path("admin/", admin.site.urls),
]
