"""Addresses of certificates."""

from django.urls import path

from reports import views

app_name = "reports"
urlpatterns = [
    path("certificates/", views.certificates, name="certificates"),
    path("certificates/<slug:number>/", views.certificate, name="certificate"),
    path("certificates/<slug:number>/file/", views.certificate_file, name="certificate-file"),
    path("jobs/<int:pk>/certificates/", views.job_panel, name="job-panel"),
    path("jobs/<int:pk>/certificates/issue/", views.issue, name="issue"),
    path("ranges/<slug:slug>/ranges.pdf", views.ranges, name="ranges-paper"),
    path("sheets/<int:pk>/bench-list.pdf", views.bench_list, name="bench-list"),
    path("systems/<slug:slug>/pin-card.pdf", views.pin_card, name="pin-card"),
    path("cars/<int:pk>/certificates/", views.car_panel, name="car-panel"),
]
