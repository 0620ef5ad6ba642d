"""Addresses of what jobs need from the shelf."""

from django.urls import path

from parts import needs_views

urlpatterns = [
    path("jobs/<int:pk>/needs/", needs_views.job_needs, name="job-needs"),
    path("jobs/<int:pk>/needs/likely/", needs_views.likely, name="job-needs-likely"),
    path("jobs/<int:pk>/needs/add/", needs_views.need_add, name="need-add"),
    path("needs/<int:pk>/<str:act>/", needs_views.need_act, name="need-act"),
]
