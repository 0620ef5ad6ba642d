from django.apps import AppConfig


class DiagnosticsConfig(AppConfig):
    name = "diagnostics"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from django.utils.translation import gettext

        from diagnostics.engine import words

        words.speak_with(gettext)

        from diagnostics.selectors import reasons_not_done
        from diagnostics.selectors.merge import bench_found
        from diagnostics.services.learning import car_facts_learned
        from diagnostics.services.merge import bench_moved
        from shop import facts, gates, merging

        gates.register(reasons_not_done)
        facts.register(car_facts_learned)
        merging.register(merging.Mover(bench_found, bench_moved))
