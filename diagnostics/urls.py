from django.urls import URLPattern

app_name = "diagnostics"
urlpatterns: list[URLPattern] = []
