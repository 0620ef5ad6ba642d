from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from reports.selectors import certificates_to_move
        from reports.services import certificates_moved
        from shop import merging

        merging.register(merging.Mover(certificates_to_move, certificates_moved))
