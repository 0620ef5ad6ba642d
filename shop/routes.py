"""Addresses of the base app."""

from django.urls import URLPattern

app_name = "shop"
urlpatterns: list[URLPattern] = []
