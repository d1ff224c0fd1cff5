from django.apps import AppConfig
from django.core.checks import Tags, register


class AcademyConfig(AppConfig):
    name = "academy"
    verbose_name = "Academy"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from academy.checks import every_view_names_a_permission  # noqa: PLC0415 (models must be loaded first)

        register(every_view_names_a_permission, Tags.security)
