"""Error pages: one clear sentence and a way on."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "shop/error.html", {"status": 400}, status=400)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "shop/error.html", {"status": 403}, status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "shop/error.html", {"status": 404}, status=404)


def server_error(request: HttpRequest) -> HttpResponse:
    return render(request, "shop/error.html", {"status": 500}, status=500)
