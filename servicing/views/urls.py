"""Addresses of servicing pages."""

from __future__ import annotations

from servicing.views import (
    compliance,
    imports,
    issuing,
    labels,
    learning,
    papers,
    questions,
    scoring,
    system_changes,
    systems,
    worth_dipping,
)
from servicing.views import map as lid_map

app_name = "servicing"

urlpatterns = [
    *systems.urlpatterns,
    *compliance.urlpatterns,
    *system_changes.urlpatterns,
    *lid_map.urlpatterns,
    *imports.urlpatterns,
    *questions.urlpatterns,
    *worth_dipping.urlpatterns,
    *learning.urlpatterns,
    *scoring.urlpatterns,
    *papers.urlpatterns,
    *issuing.urlpatterns,
    *labels.urlpatterns,
]
