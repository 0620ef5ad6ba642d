from typing import Any

from django.http import HttpRequest


def shop(request: HttpRequest) -> dict[str, Any]:
    from shop.models import ShopProfile

    return {"shop_profile": ShopProfile.objects.first() if request.user.is_authenticated else None}
