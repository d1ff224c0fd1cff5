from django.apps import AppConfig
from django.core.checks import register


class AssessmentsConfig(AppConfig):
    name = "assessments"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from assessments.signing import the_signing_key_is_usable  # noqa: PLC0415 (settings must be there)

        register(the_signing_key_is_usable)
