"""Pictures that people send: looked at as untrusted bytes, decoded within limits, written anew."""

import hashlib
import io
import struct
from dataclasses import dataclass
from typing import IO

from django.conf import settings
from django.utils.translation import gettext as _
from PIL import Image, ImageOps, UnidentifiedImageError

from shop.errors import ShopError

FORMATS = ("JPEG", "PNG", "WEBP")
MAY_MOVE = ("PNG", "WEBP")
"""Formats that can hold an animation. A JPEG with several pictures (a telephone keeps depth beside the view) is no
animation."""
HEIC_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"})
"""Brands in the `ftyp` box of ISO/IEC 23008-12 (from memory), in which many telephones keep pictures."""


@dataclass(frozen=True, slots=True)
class CleanPicture:
    """`data` is a JPEG or PNG without metadata, `suffix` 'jpg' or 'png', at most PICTURE_MAX_SIDE pixels a side."""

    data: bytes
    suffix: str
    width: int
    height: int

    @property
    def digest(self) -> str:
        """SHA-256 of the picture as it is kept, in hex: the same for the same picture sent twice."""
        return hashlib.sha256(self.data).hexdigest()


def picture_clean(upload: IO[bytes]) -> CleanPicture:
    """Decode and re-encode. The upload's name and type say nothing and are not asked. Raises ShopError."""
    data = upload.read(settings.PICTURE_MAX_BYTES + 1)
    if len(data) > settings.PICTURE_MAX_BYTES:
        raise ShopError(
            _("The picture is larger than {limit} MB.").format(limit=settings.PICTURE_MAX_BYTES // (1024 * 1024))
        )
    if data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS:
        raise ShopError(
            _(
                "This is a HEIC picture, which not every browser shows: set the telephone’s camera to “most "
                "compatible” (JPEG), or send the picture as JPEG."
            )
        )
    try:
        _open(data).verify()  # reads the structure; the image object is used up by it
        image = ImageOps.exif_transpose(_open(data))
        image.thumbnail((settings.PICTURE_MAX_SIDE, settings.PICTURE_MAX_SIDE), Image.Resampling.LANCZOS)
        return _encode(image)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_many_pixels() from error
    except UnidentifiedImageError as error:
        raise ShopError(_("This is no picture; expected a JPEG, PNG or WebP file.")) from error
    except (OSError, SyntaxError, ValueError, IndexError, struct.error) as error:  # what Pillow raises on broken files
        raise ShopError(_("The picture is damaged; take it again or save it anew.")) from error


def picture_for_paper(data: bytes) -> bytes:
    """A picture that was cleaned as a JPEG for a printed page, at most PICTURE_PAPER_SIDE pixels a side, on white where
    it was transparent. Raises OSError for a damaged file."""
    image = _open(data)
    image.thumbnail((settings.PICTURE_PAPER_SIDE, settings.PICTURE_PAPER_SIDE), Image.Resampling.LANCZOS)
    page = Image.new("RGB", image.size, "white")
    shown = image.convert("RGBA")
    page.paste(shown, mask=shown.getchannel("A"))
    out = io.BytesIO()
    page.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()


def picture_small(data: bytes) -> bytes:
    """A picture that was cleaned, at most PICTURE_SMALL_SIDE pixels a side, in the same format."""
    image = _open(data)
    image.thumbnail((settings.PICTURE_SMALL_SIDE, settings.PICTURE_SMALL_SIDE), Image.Resampling.LANCZOS)
    return _encode(image).data


def _open(data: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(data), formats=FORMATS)
    if image.width * image.height > settings.PICTURE_MAX_PIXELS:
        raise _too_many_pixels()
    if image.format in MAY_MOVE and getattr(image, "is_animated", False):
        raise ShopError(_("This picture moves; expected a still one."))
    return image


def _encode(image: Image.Image) -> CleanPicture:
    """Onto a new image, so that no comment, place or camera number comes along."""
    transparent = "A" in image.getbands() or "transparency" in image.info
    mode = "RGBA" if transparent else "RGB"
    clean = Image.new(mode, image.size)
    clean.paste(image.convert(mode))
    out = io.BytesIO()
    if transparent:
        clean.save(out, "PNG", optimize=True)
    else:
        clean.save(out, "JPEG", quality=85, optimize=True)
    return CleanPicture(out.getvalue(), "png" if transparent else "jpg", clean.width, clean.height)


def _too_many_pixels() -> ShopError:
    return ShopError(
        _("The picture has more than {limit} million pixels.").format(limit=settings.PICTURE_MAX_PIXELS // 1_000_000)
    )
