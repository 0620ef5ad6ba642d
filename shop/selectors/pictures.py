"""Pictures as people look at them: a film over all jobs of a car, before and after side by side."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from django.db.models import QuerySet
from django.utils import timezone

from shop.models import Car, Moment, Picture

ON_THE_CAR_FILE = 24
TO_PAIR_AT_MOST = 24


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture, or a pair: `before` is then the one before the work and `picture` the one after it."""

    picture: Picture
    before: Picture | None


@dataclass(frozen=True, slots=True)
class FilmMonth:
    """`month`: the first day of the month in which the frames were taken, in the shop's zone."""

    month: dt.date
    frames: tuple[Frame, ...]


def pictures_of_car(car: Car) -> QuerySet[Picture]:
    """Over all jobs, oldest first, with what a frame shows."""
    return Picture.objects.filter(job__car=car).select_related("job", "by", "before__job", "before__by", "after")


def film_of(pictures: Iterable[Picture]) -> tuple[FilmMonth, ...]:
    """By month, oldest first. A pair stands where the picture after the work was taken, if that is among them."""
    rows = sorted(pictures, key=lambda one: (one.at, one.pk))
    paired = {one.before_id for one in rows}
    frames = [Frame(one, one.before) for one in rows if one.pk not in paired]
    months = groupby(frames, key=lambda one: timezone.localdate(one.picture.at).replace(day=1))
    return tuple(FilmMonth(month, tuple(of_it)) for month, of_it in months)


def newest_film(car: Car) -> tuple[FilmMonth, ...]:
    return film_of(pictures_of_car(car).order_by("-at", "-pk")[:ON_THE_CAR_FILE])


def after_of(picture: Picture) -> Picture | None:
    """The picture after the work that this one is the one before of."""
    return getattr(picture, "after", None)


def beside(picture: Picture) -> tuple[Picture | None, Picture | None]:
    """The pictures before and after this one in the car's film."""
    same_car = Picture.objects.filter(job__car=picture.job.car_id)
    at, pk = picture.at, picture.pk
    earlier = same_car.filter(at__lte=at).exclude(at=at, pk__gte=pk).order_by("-at", "-pk").first()
    later = same_car.filter(at__gte=at).exclude(at=at, pk__lte=pk).order_by("at", "pk").first()
    return earlier, later


def to_pair_with(picture: Picture) -> list[Picture]:
    """Unpaired pictures of the same car, those of the same job and position first, then the newest."""
    free = Picture.objects.filter(job__car=picture.job.car_id, before=None, after=None).exclude(pk=picture.pk)
    if picture.moment:
        free = free.exclude(moment=picture.moment)
    newest = free.select_related("job").order_by("-at", "-pk")[: 4 * TO_PAIR_AT_MOST]
    nearest = sorted(newest, key=lambda one: (one.job_id != picture.job_id, one.position != picture.position))
    return nearest[:TO_PAIR_AT_MOST]


def in_order(one: Picture, other: Picture) -> tuple[Picture, Picture]:
    """Which of two is the one before the work: as somebody said of them, else the one taken first."""
    swapped = one.moment == Moment.AFTER or other.moment == Moment.BEFORE
    said = swapped or one.moment == Moment.BEFORE or other.moment == Moment.AFTER
    if not said:
        swapped = (other.at, other.pk) < (one.at, one.pk)
    return (other, one) if swapped else (one, other)
