from django.apps import AppConfig


class SchedulerConfig(AppConfig):
    """What to do, and the site's wiring."""

    name = "scheduler"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Bind shared tasks to our Celery application and register system checks."""
        from . import celery  # noqa: F401, PLC0415  (must not load when only routing is imported)
