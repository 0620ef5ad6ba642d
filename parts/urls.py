from django.urls import path

from parts import views

app_name = "parts"
urlpatterns = [
    path("shelf/", views.shelf, name="shelf"),
    path("shelf/options/", views.options, name="options"),
    path("shelf/parts/", views.part_add, name="part-add"),
    path("shelf/fits/", views.fit_add, name="fit-add"),
]
