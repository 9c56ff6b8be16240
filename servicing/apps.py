from django.apps import AppConfig


class ServicingConfig(AppConfig):
    """What is in the ground."""

    name = "servicing"
    default_auto_field = "django.db.models.BigAutoField"
