from django.apps import AppConfig


class CustomersConfig(AppConfig):
    """Who and where."""

    name = "customers"
    default_auto_field = "django.db.models.BigAutoField"
