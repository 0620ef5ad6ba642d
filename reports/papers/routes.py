"""Addresses of the papers of a job."""

from django.urls import path

from reports.papers import views

urlpatterns = [
    path("jobs/<int:pk>/job-sheet.pdf", views.job_sheet, name="job-sheet"),
    path("jobs/<int:pk>/work-report.pdf", views.work_report, name="work-report"),
    path("estimates/<int:pk>/estimate.pdf", views.estimate, name="estimate-paper"),
    path("e/<str:token>/estimate.pdf", views.estimate_public, name="estimate-paper-public"),
]
