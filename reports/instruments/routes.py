"""Addresses of the book of instruments, and of the panel on a job's page."""

from django.urls import path

from reports.instruments import views

urlpatterns = [
    path("instruments/", views.instruments, name="instruments"),
    path("instruments/<int:pk>/", views.instrument, name="instrument"),
    path("instruments/<int:pk>/calibrations/", views.calibrate, name="instrument-calibrate"),
    path("instruments/<int:pk>/retire/", views.retire, name="instrument-retire"),
    path("instruments/<int:pk>/return/", views.give_back, name="instrument-return"),
    path("calibrations/<int:pk>/strike/", views.strike, name="calibration-strike"),
    path("jobs/<int:pk>/instruments/", views.job_instruments, name="job-instruments"),
    path("jobs/<int:pk>/instruments/choose/", views.choose, name="instrument-choose"),
    path("jobs/<int:pk>/instruments/undo/", views.unchoose, name="instrument-unchoose"),
]
