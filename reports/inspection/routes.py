"""Addresses of inspections by plan."""

from django.urls import path

from reports.inspection import views

urlpatterns = [
    path("jobs/<int:pk>/inspection/", views.inspection, name="inspection"),
    path("jobs/<int:pk>/inspection/panel/", views.panel, name="inspection-panel"),
    path("jobs/<int:pk>/inspection/open/", views.begin, name="inspection-open"),
    path("jobs/<int:pk>/inspection/give-up/", views.give_up, name="inspection-give-up"),
    path("jobs/<int:pk>/inspection/answer/", views.answer, name="inspection-answer"),
    path("jobs/<int:pk>/inspection/skip/", views.skip, name="inspection-skip"),
    path("inspection-answers/<int:pk>/strike/", views.strike, name="inspection-strike"),
]
