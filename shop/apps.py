from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Shared tasks bind to the configured application, in the web server as in the worker.
        from shop.celery import app as _app  # noqa: F401
        from shop.sessions import connect

        connect()
