"""Every address of the application: one of the three modules that know all apps."""

from django.urls import include, path

urlpatterns = [
    path("", include("shop.routes", namespace="shop")),
    path("", include("diagnostics.urls", namespace="diagnostics")),
    path("", include("parts.urls", namespace="parts")),
    path("", include("reports.urls", namespace="reports")),
]

handler400 = "shop.views.errors.bad_request"
handler403 = "shop.views.errors.forbidden"
handler404 = "shop.views.errors.not_found"
handler500 = "shop.views.errors.server_error"
