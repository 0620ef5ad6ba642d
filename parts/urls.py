from django.urls import path

from parts import needs_routes, order_routes, plan_routes, shelf_routes, views

app_name = "parts"
urlpatterns = [
    path("shelf/", views.shelf, name="shelf"),
    path("shelf/options/", views.options, name="options"),
    path("shelf/parts/", views.part_add, name="part-add"),
    path("shelf/fits/", views.fit_add, name="fit-add"),
    *needs_routes.urlpatterns,
    *order_routes.urlpatterns,
    *plan_routes.urlpatterns,
    *shelf_routes.urlpatterns,  # the last: see there
]
