"""The second page of signing in, as Django's authentication has it: wrong codes count towards the lock-out like wrong
passwords do."""

from typing import Any

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest

from shop.models import User
from shop.services.second_factor import code_counts


class CodeBackend(ModelBackend):
    """The person whose password was right a moment ago, by a code of the second factor or a recovery code."""

    def authenticate(  # type: ignore[override]
        self, request: HttpRequest | None, username: str, code: str, **_more: Any
    ) -> User | None:
        user = User.objects.filter(username=username, is_active=True).first()
        return user if user is not None and code_counts(user=user, code=code) else None


def in_logs(*_who: Any) -> str:
    """What the log of sign-ins says of the sender: no name, no address, and no path: it may be an invitation's."""
    return "somebody"
