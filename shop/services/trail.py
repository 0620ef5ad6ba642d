from django.utils import timezone

from shop.models import Car, Job, TrailEntry, User


def trail_record(
    *,
    by: User | None,
    kind: str,
    words: str,
    car: Car | None = None,
    job: Job | None = None,
    link: str = "",
    became: str = "",
) -> TrailEntry:
    """Write one trail entry. Called inside the transaction of the change that it tells of."""
    if job is not None and car is None:
        car = job.car
    return TrailEntry.objects.create(
        at=timezone.now(), by=by, car=car, job=job, kind=kind, words=words, link=link, became=became
    )
