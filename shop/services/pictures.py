"""Pictures of a job."""

import uuid
from typing import IO

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.models import Job, Picture, User
from shop.permissions import require
from shop.services.trail import trail_record
from shop.uploads import picture_clean


@transaction.atomic
def picture_add(*, job: Job, by: User, upload: IO[bytes], caption: str = "", position: str = "") -> Picture:
    """Keep a picture, re-encoded and without its metadata. ShopError when it is none; then no file is kept either."""
    require(by, "job.note")
    clean = picture_clean(upload)
    picture = Picture(
        job=job,
        by=by,
        caption=caption.strip(),
        position=position,
        width=clean.width,
        height=clean.height,
        at=timezone.now(),
    )
    picture.file.save(f"{uuid.uuid4().hex}.{clean.suffix}", ContentFile(clean.data), save=False)
    try:
        picture.save()
        words = _("Picture added: {caption}").format(caption=picture.caption or _("without a caption"))
        trail_record(by=by, kind="job.pictured", words=words, job=job, link=job.get_absolute_url())
    except BaseException:
        picture.file.delete(save=False)
        raise
    return picture
