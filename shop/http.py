"""The request as every signed-in view gets it."""

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from shop.models import User


class ShopRequest(HttpRequest):
    user: User
    htmx: HtmxDetails
