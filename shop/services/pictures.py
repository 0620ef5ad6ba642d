"""Pictures of a job: kept, described, and those before and after the work paired."""

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO, Any

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import Job, Moment, Picture, User
from shop.permissions import require
from shop.services.trail import trail_record
from shop.uploads import CleanPicture, picture_clean, picture_small

ON_PAPER_AT_MOST = 24
"""Pictures on one certificate: four pages of them, and a file that a letter can carry."""


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of pictures sent together: kept now; in the job already; refused, each with the file's name."""

    new: tuple[Picture, ...]
    again: tuple[Picture, ...]
    refused: tuple[tuple[str, ShopError], ...]


@dataclass(frozen=True, slots=True)
class _Said:
    """What a person says of a picture."""

    caption: str
    position: str
    moment: str
    on_paper: bool

    def values(self) -> dict[str, Any]:
        return {
            "caption": self.caption.strip(),
            "position": self.position.strip(),
            "moment": Moment(self.moment).value if self.moment else "",
            "on_paper": self.on_paper,
        }


@transaction.atomic
def picture_add(
    *,
    job: Job,
    by: User,
    upload: IO[bytes],
    caption: str = "",
    position: str = "",
    moment: str = "",
    on_paper: bool = False,
    before: Picture | None = None,
) -> Picture:
    """Keep a picture, re-encoded and without its metadata; one that the job has already is kept once, and given back.

    `before`: the picture of the same place before the work. ShopError when it is none; then no file is kept either.
    """
    require(by, "job.note")
    return _keep(job, by, picture_clean(upload), _Said(caption, position, moment, on_paper), before)[0]


def pictures_add(
    *,
    job: Job,
    by: User,
    uploads: Sequence[tuple[str, IO[bytes]]],
    caption: str = "",
    position: str = "",
    moment: str = "",
    on_paper: bool = False,
    before: Picture | None = None,
) -> Kept:
    """Keep several (file name, file), each by itself: a bad one among them costs the others nothing."""
    require(by, "job.note")
    if before is not None and len(uploads) > 1:
        raise ShopError(_("One picture before the work has one after it: send that one by itself."))
    new: list[Picture] = []
    again: list[Picture] = []
    refused: list[tuple[str, ShopError]] = []
    for name, upload in uploads:
        try:
            with transaction.atomic():
                picture, is_new = _keep(
                    job, by, picture_clean(upload), _Said(caption, position, moment, on_paper), before
                )
        except ShopError as error:
            refused.append((name, error))
        else:
            (new if is_new else again).append(picture)
    return Kept(tuple(new), tuple(again), tuple(refused))


@transaction.atomic
def picture_describe(
    *, picture: Picture, by: User, caption: str, position: str, moment: str, on_paper: bool = False
) -> Picture:
    """Change what is said of a picture, and whether the job's certificate shows it; the trail keeps both captions."""
    require(by, "job.note")
    picture = _locked(picture)
    values = _Said(caption, position, moment, on_paper).values()
    _refuse_paper(picture.job, picture.digest, picture if picture.on_paper else None, values)
    if all(getattr(picture, name) == value for name, value in values.items()):
        return picture
    old = _said_of(picture)
    for name, value in values.items():
        setattr(picture, name, value)
    if picture.before is not None:
        _refuse_pair(picture.before, picture)
    elif (after := Picture.objects.filter(before=picture).first()) is not None:
        _refuse_pair(picture, after)
    picture.save(update_fields=list(values))
    words = _("Picture: {old} → {new}").format(old=old, new=_said_of(picture))
    _trail(picture, by, "job.pictured", words)
    return picture


@transaction.atomic
def picture_pair(*, before: Picture, after: Picture, by: User) -> Picture:
    """Two pictures of one place of a car, before and after the work. Conflict where one of them is paired already."""
    require(by, "job.note")
    before, after = _locked(before), _locked(after)
    _refuse_pair(before, after)
    if Picture.objects.filter(before__in=[before, after]).exists() or before.before_id or after.before_id:
        raise Conflict(_("One of the two pictures is paired already: take that pair apart first."))
    after.before = before
    after.save(update_fields=["before"])
    words = _("Before and after: {before} → {after}").format(before=_said_of(before), after=_said_of(after))
    _trail(after, by, "job.paired", words)
    return after


@transaction.atomic
def picture_unpair(*, after: Picture, by: User) -> Picture:
    """Take a pair apart; both pictures stay as they are. Nothing happens where it is apart already."""
    require(by, "job.note")
    after = _locked(after)
    if after.before is not None:
        words = _("No longer before and after: {before}, {after}")
        words = words.format(before=_said_of(after.before), after=_said_of(after))
        after.before = None
        after.save(update_fields=["before"])
        _trail(after, by, "job.unpaired", words)
    return after


def small_of(picture: Picture) -> str:
    """The name of the file for a film: a small rendition beside the picture's own, made here where there is none yet,
    as of pictures from before it was made at once; the picture's own where that is small. FileNotFoundError where the
    picture's own is gone."""
    own = str(picture.file.name)
    if max(picture.width, picture.height) <= settings.PICTURE_SMALL_SIDE:
        return own
    storage, name = picture.file.storage, _small_name(own)
    if not storage.exists(name):
        with storage.open(own, "rb") as file:
            data = picture_small(file.read())
        saved = storage.save(name, ContentFile(data))
        if saved != name:  # somebody else was faster
            storage.delete(saved)
    return name


def _small_name(own: str) -> str:
    stem, dot, suffix = own.rpartition(".")
    return f"{stem}-small{dot}{suffix}"


def _delete_files(picture: Picture) -> None:
    picture.file.storage.delete(_small_name(str(picture.file.name)))
    picture.file.delete(save=False)


def _keep(job: Job, by: User, clean: CleanPicture, said: _Said, before: Picture | None) -> tuple[Picture, bool]:
    """The picture, and whether it is new to the job. In a transaction; the file goes when the row does not stay."""
    there = Picture.objects.filter(job=job, digest=clean.digest).first()
    if there is not None:
        return there, False
    values = said.values()
    _refuse_paper(job, clean.digest, None, values)
    measures = {"digest": clean.digest, "width": clean.width, "height": clean.height}
    picture = Picture(job=job, by=by, at=timezone.now(), **measures, **values)
    picture.file.save(f"{uuid.uuid4().hex}.{clean.suffix}", ContentFile(clean.data), save=False)
    try:
        small_of(picture)
        picture.save()
        words = _("Picture added: {caption}").format(caption=picture.caption or _("without a caption"))
        _trail(picture, by, "job.pictured", words)
        if before is not None:
            picture_pair(before=before, after=picture, by=by)
    except IntegrityError as error:
        _delete_files(picture)
        raise Conflict(_("Somebody has just sent this picture.")) from error
    except BaseException:
        _delete_files(picture)
        raise
    return picture, True


def _refuse_paper(job: Job, digest: str, shown: Picture | None, values: dict[str, Any]) -> None:
    """ShopError where a picture cannot stand on the certificate of `job`; `shown`: it, where it stands there now."""
    if not values["on_paper"]:
        return
    if not values["caption"]:
        raise ShopError(_("Say what it shows: on a certificate a picture stands with its caption."))
    if not digest:
        raise ShopError(_("This picture is from before pictures were counted: send it anew, then show it."))
    Job.objects.select_for_update(of=("self",)).get(pk=job.pk)  # two people choose the last one at once
    if shown is None and job.pictures.filter(on_paper=True).count() >= ON_PAPER_AT_MOST:
        words = _("The certificate shows {most} pictures already: take one of them off first.")
        raise Conflict(words.format(most=ON_PAPER_AT_MOST))


def _locked(picture: Picture) -> Picture:
    """The row as it is now, held until the transaction ends: two people pair at once."""
    rows = Picture.objects.select_for_update(of=("self",)).select_related("job__car", "before")
    return rows.get(pk=picture.pk)


def _refuse_pair(before: Picture, after: Picture) -> None:
    if before.pk == after.pk:
        raise ShopError(_("A picture cannot be before and after at once: choose two."))
    if before.job.car_id != after.job.car_id:
        raise ShopError(_("These are pictures of two cars: before and after belong to one."))
    if before.moment == Moment.AFTER or after.moment == Moment.BEFORE:
        raise ShopError(
            _("One of them is kept as a picture of the other moment: change that, or pair them the other way.")
        )


def _said_of(picture: Picture) -> str:
    said = [picture.caption or _("without a caption"), picture.position, str(picture.get_moment_display())]
    if picture.on_paper:
        said.append(_("on the certificate"))
    return ", ".join(one for one in said if one)


def _trail(picture: Picture, by: User, kind: str, words: str) -> None:
    trail_record(by=by, kind=kind, words=words, job=picture.job, link=picture.job.get_absolute_url())
