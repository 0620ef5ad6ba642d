"""Addresses of commissions; those under commission/ and c/ need no sign-in."""

from django.urls import path

from reports.commission import counter, public

urlpatterns = [
    path("commission/", public.commission, name="commission"),
    path("c/<str:token>/", public.follow, name="commission-follow"),
    path("c/<str:token>/certificate/", public.file, name="commission-file"),
    path("c/<str:token>/withdraw/", public.withdraw, name="commission-withdraw"),
    path("commissions/", counter.commissions, name="commissions"),
    path("commissions/waiting/", counter.waiting, name="commissions-waiting"),
    path("commissions/<int:pk>/", counter.one, name="commission-one"),
    path("commissions/<int:pk>/take/", counter.take, name="commission-take"),
    path("commissions/<int:pk>/appointment/", counter.appoint, name="commission-appoint"),
    path("commissions/<int:pk>/decline/", counter.decline, name="commission-decline"),
    path("commissions/<int:pk>/link/", counter.link, name="commission-link"),
    path("commissions/<int:pk>/erase/", counter.erase, name="commission-erase"),
    path("jobs/<int:pk>/commission/", counter.job_commission, name="job-commission"),
]
