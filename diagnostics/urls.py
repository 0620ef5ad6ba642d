"""Addresses of systems, bench sheets, work and units."""

from django.urls import path

from diagnostics.views import entries, fragments, sheet, systems, work

app_name = "diagnostics"
urlpatterns = [
    path("systems/", systems.systems, name="systems"),
    path("systems/<slug:slug>/", systems.system, name="system"),
    path("jobs/<int:pk>/bench/", sheet.bench, name="bench"),
    path("jobs/<int:pk>/bench/panel/", fragments.job_panel, name="job-panel"),
    path("jobs/<int:pk>/add-work/", work.work_add, name="work-add"),
    path("sheets/<int:pk>/", sheet.sheet, name="sheet"),
    path("sheets/<int:pk>/live/", sheet.live, name="sheet-live"),
    path("sheets/<int:pk>/next/", sheet.next_checks, name="next"),
    path("sheets/<int:pk>/pose/", sheet.pose, name="sheet-pose"),
    path("sheets/<int:pk>/complaint/", sheet.complaint, name="sheet-complaint"),
    path("sheets/<int:pk>/close/", sheet.close, name="sheet-close"),
    path("sheets/<int:pk>/checks/", entries.check_add, name="check-add"),
    path("checks/<int:pk>/strike/", entries.check_strike, name="check-strike"),
    path("cars/<int:pk>/units/", fragments.car_units, name="car-units"),
    path("cars/<int:pk>/top-proof/", fragments.car_proof, name="car-proof"),
]
