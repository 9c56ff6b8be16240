"""The Celery application: it wakes work up; the database remembers what is to be done."""

from __future__ import annotations

import os

from celery import Celery

from scheduler.timetable import TIMETABLE

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scheduler.settings")

app = Celery("ebbmark")
app.config_from_object("django.conf:settings", namespace="CELERY")
# current_app is kept per thread; without this a web thread would publish to nowhere.
app.set_default()
app.autodiscover_tasks(["scheduler", "servicing"])
app.conf.beat_schedule = TIMETABLE
