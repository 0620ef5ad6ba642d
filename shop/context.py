from typing import Any

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from shop.models import ShopProfile


def shop(request: HttpRequest) -> dict[str, Any]:
    """`shop_profile`, read only by the templates that show it: a fragment costs no query for it."""
    user = getattr(request, "user", None)  # missing where a request fails before the sign-in is known
    if user is None or not user.is_authenticated:
        return {"shop_profile": None}
    return {"shop_profile": SimpleLazyObject(ShopProfile.objects.first)}
