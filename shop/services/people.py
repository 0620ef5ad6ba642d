from django.utils import timezone

from shop.models import User


def tour_dismiss(*, user: User) -> None:
    """The person has seen the tour. Their own setting, no business of the shop's: no trail."""
    User.objects.filter(pk=user.pk).update(tour_dismissed_at=timezone.now())
