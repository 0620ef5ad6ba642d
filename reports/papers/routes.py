"""Addresses of the papers of a job."""

from django.urls import path

from reports.papers import views

urlpatterns = [
    path("estimates/<int:pk>/estimate.pdf", views.estimate, name="estimate-paper"),
    path("e/<str:token>/estimate.pdf", views.estimate_public, name="estimate-paper-public"),
]
