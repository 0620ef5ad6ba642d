"""Addresses of systems, bench sheets, work and units."""

from django.urls import path

from diagnostics.views import (
    bench_list,
    drawings,
    enquiries,
    entries,
    fragments,
    rates,
    sheet,
    systems,
    tell,
    times,
    work,
)

app_name = "diagnostics"
urlpatterns = [
    path("systems/", systems.systems, name="systems"),
    path("systems/<slug:slug>/", systems.system, name="system"),
    path("systems/<slug:slug>/rates/", rates.system_rates, name="system-rates"),
    path("jobs/<int:pk>/bench/", sheet.bench, name="bench"),
    path("jobs/<int:pk>/bench/panel/", fragments.job_panel, name="job-panel"),
    path("jobs/<int:pk>/add-work/", work.work_add, name="work-add"),
    path("sheets/<int:pk>/", sheet.sheet, name="sheet"),
    path("sheets/<int:pk>/live/", sheet.live, name="sheet-live"),
    path("sheets/<int:pk>/bench-list/", bench_list.bench_list, name="bench-list"),
    path("sheets/<int:pk>/times/", times.times, name="sheet-times"),
    path("sheets/<int:pk>/drawings/", drawings.sheet_drawings, name="sheet-drawings"),
    path("sheets/<int:pk>/next/", sheet.next_checks, name="next"),
    path("sheets/<int:pk>/fields/", sheet.fields, name="sheet-fields"),
    path("sheets/<int:pk>/compare/", sheet.compare, name="sheet-compare"),
    path("sheets/<int:pk>/pose/", sheet.pose, name="sheet-pose"),
    path("sheets/<int:pk>/complaint/", sheet.complaint, name="sheet-complaint"),
    path("sheets/<int:pk>/close/", sheet.close, name="sheet-close"),
    path("sheets/<int:pk>/checks/", entries.check_add, name="check-add"),
    path("checks/<int:pk>/strike/", entries.check_strike, name="check-strike"),
    path("cars/<int:pk>/units/", fragments.car_units, name="car-units"),
    path("cars/<int:pk>/top-proof/", fragments.car_proof, name="car-proof"),
    path("tell/", tell.tell, name="tell"),
    path("tell/about/<slug:slug>/", tell.about, name="tell-about"),
    path("tell/send/", tell.send, name="tell-send"),
    path("tell/sent/<str:code>/", tell.sent, name="tell-sent"),
    path("enquiries/", enquiries.enquiries, name="enquiries"),
    path("enquiries/waiting/", enquiries.waiting, name="enquiries-waiting"),
    path("enquiries/ask/", enquiries.ask, name="enquiry-ask"),
    path("enquiries/<int:pk>/", enquiries.enquiry, name="enquiry"),
    path("enquiries/<int:pk>/take/", enquiries.take, name="enquiry-take"),
    path("enquiries/<int:pk>/close/", enquiries.close, name="enquiry-close"),
    path("enquiries/<int:pk>/erase/", enquiries.erase, name="enquiry-erase"),
]
