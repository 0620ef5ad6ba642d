"""Addresses of batches of certificates."""

from django.urls import path

from reports.batch import views

urlpatterns = [
    path("certificates/batch/", views.batches, name="batches"),
    path("certificates/batch/<int:pk>/", views.batch, name="batch"),
]
