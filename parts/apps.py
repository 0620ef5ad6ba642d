from django.apps import AppConfig


class PartsConfig(AppConfig):
    name = "parts"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from diagnostics import fitting
        from parts.services.taking import take_for_unit
        from parts.services.waiting import needs_let_go
        from shop import gates

        fitting.register(take_for_unit)
        gates.follow(needs_let_go)
