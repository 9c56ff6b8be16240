from django.apps import AppConfig


class SchedulerConfig(AppConfig):
    """What to do, and the site's wiring."""

    name = "scheduler"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Bind shared tasks to our Celery application; register system checks and receivers."""
        # Not at the top: they must not load when only scheduler.routing is imported.
        from . import celery, checks, receivers, sweeps  # noqa: F401, PLC0415
