"""Addresses of the base app."""

from django.urls import path

from shop.views import cars, customers, jobs, merge, owners, people, runs

app_name = "shop"
urlpatterns = [
    path("", jobs.floor, name="floor"),
    path("cars/", cars.car_list, name="cars"),
    path("cars/new/", cars.car_new, name="car-new"),
    path("cars/<int:pk>/", cars.car_file, name="car"),
    path("cars/<int:pk>/edit/", cars.car_edit, name="car-edit"),
    path("cars/<int:pk>/merge/", merge.car_merge, name="car-merge"),
    path("cars/<int:pk>/owner/", owners.car_owner, name="car-owner"),
    path("cars/<int:pk>/odometer/", cars.odometer, name="odometer-add"),
    path("cars/<int:pk>/jobs/new/", jobs.job_new, name="job-new"),
    path("customers/", customers.customer_list, name="customers"),
    path("customers/new/", customers.customer_new, name="customer-new"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/edit/", customers.customer_edit, name="customer-edit"),
    path("jobs/<int:pk>/", jobs.job, name="job"),
    path("jobs/<int:pk>/stage/", jobs.stage, name="job-stage"),
    path("jobs/<int:pk>/hold/", jobs.hold, name="job-hold"),
    path("jobs/<int:pk>/notes/", jobs.note, name="job-note"),
    path("jobs/<int:pk>/pictures/", jobs.picture_new, name="job-picture"),
    path("pictures/<int:pk>/", jobs.picture, name="picture"),
    path("runs/<uuid:pk>/", runs.run, name="run"),
    path("runs/<uuid:pk>/cancel/", runs.cancel, name="run-cancel"),
    path("sign-in/", people.SignIn.as_view(), name="sign-in"),
    path("sign-out/", people.SignOut.as_view(), name="sign-out"),
    path("tour/dismiss/", people.tour, name="tour-dismiss"),
]
