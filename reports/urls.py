"""Addresses of certificates and of old records."""

from django.urls import path

from reports import check_views, figures_views, records_views, views
from reports.batch import routes as batch_routes
from reports.commission import routes as commission_routes
from reports.inspection import routes as inspection_routes
from reports.instruments import routes as instrument_routes
from reports.papers import routes as paper_routes

app_name = "reports"
urlpatterns = [
    path("certificates/", views.certificates, name="certificates"),
    *batch_routes.urlpatterns,  # before a number of the same shape
    path("certificates/<slug:number>/", views.certificate, name="certificate"),
    path("certificates/<slug:number>/file/", views.certificate_file, name="certificate-file"),
    path("certificates/<slug:number>/withdraw/", views.withdraw, name="certificate-withdraw"),
    path("check/", check_views.check, name="check"),
    path("check/root.pem", check_views.root, name="check-root"),
    path("check/topwright-certificate-1.schema.json", check_views.schema, name="check-schema"),
    path("check/<str:number>/", check_views.number, name="check-number"),
    path("jobs/<int:pk>/certificates/", views.job_panel, name="job-panel"),
    path("jobs/<int:pk>/certificates/issue/", views.issue, name="issue"),
    path("figures/", figures_views.figures, name="figures"),
    path("figures/hits/", figures_views.hits, name="figure-hits"),
    path("figures/<slug:key>/", figures_views.figure, name="figure"),
    path("figures/<slug:key>/jobs/", figures_views.figure_jobs, name="figure-jobs"),
    path("jobs/<int:pk>/comeback/", figures_views.comeback, name="comeback"),
    path("records/", records_views.records, name="records"),
    path("records/<int:pk>/", records_views.imported, name="import"),
    path("records/<int:pk>/bring/", records_views.imported_bring, name="import-bring"),
    path("records/<int:pk>/drop/", records_views.imported_drop, name="import-drop"),
    path("records/<int:pk>/rows.csv", records_views.imported_fates, name="import-fates"),
    path("records/take/", records_views.export_ask, name="export-ask"),
    path("records/taken/<uuid:pk>/", records_views.export_file, name="export-file"),
    path("cars/<int:pk>/take/", records_views.car_take, name="car-take"),
    path("ranges/<slug:slug>/ranges.pdf", views.ranges, name="ranges-paper"),
    path("sheets/<int:pk>/bench-list.pdf", views.bench_list, name="bench-list"),
    path("systems/<slug:slug>/pin-card.pdf", views.pin_card, name="pin-card"),
    path("cars/<int:pk>/certificates/", views.car_panel, name="car-panel"),
    path("cars/<int:pk>/findings/", views.car_findings, name="car-findings"),
    *commission_routes.urlpatterns,
    *inspection_routes.urlpatterns,
    *instrument_routes.urlpatterns,
    *paper_routes.urlpatterns,
]
