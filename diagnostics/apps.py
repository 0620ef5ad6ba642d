from django.apps import AppConfig


class DiagnosticsConfig(AppConfig):
    name = "diagnostics"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.utils.translation import gettext

        from diagnostics.engine import words

        words.speak_with(gettext)
