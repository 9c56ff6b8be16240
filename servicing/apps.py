from django.apps import AppConfig


class ServicingConfig(AppConfig):
    """What is in the ground."""

    name = "servicing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Listen to changes of places and people."""
        from servicing import receivers  # noqa: F401, PLC0415 - connects itself; models are ready now
