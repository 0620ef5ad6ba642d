"""Uploads: only pictures are kept, smaller, without what the camera wrote into them."""

import io
import struct
import zlib
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from shop import services
from shop.errors import ShopError
from shop.models import Job, Picture, User
from shop.uploads import picture_clean

pytestmark = pytest.mark.django_db


def _jpeg(width: int = 40, height: int = 30, **options: Any) -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (width, height), "#8a3d0c").save(out, "JPEG", **options)
    out.seek(0)
    return out


BROKEN_EXIF = bytes.fromhex(
    "4578696600004d4d002a00000008000201000002000000060000002601120003000000010006000000000000787878787800"
)
"""An orientation, and a tag whose type does not fit its value: the library that reads it gives up with struct.error."""


def _jpeg_with(exif: bytes) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def _png_claiming(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes whose head promises width x height pixels."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(100))) + chunk(b"IEND", b"")


def test_a_picture_is_written_anew_without_its_metadata() -> None:
    exif = Image.Exif()
    exif[0x010F] = "Camera 4711"  # maker of the camera
    exif[0x0112] = 6  # turned by 90 degrees
    clean = picture_clean(_jpeg(exif=exif, comment=b"where we live"))
    assert b"4711" not in clean.data
    assert b"where we live" not in clean.data
    assert (clean.width, clean.height) == (30, 40), "turned upright before the turn is forgotten"
    again = Image.open(io.BytesIO(clean.data))
    assert (again.format, again.size, dict(again.getexif())) == ("JPEG", (30, 40), {})


def test_a_large_picture_is_sized_to_the_limit_and_a_transparent_one_stays_so() -> None:
    clean = picture_clean(_jpeg(3000, 1500))
    assert (clean.width, clean.height, clean.suffix) == (2000, 1000, "jpg")
    out = io.BytesIO()
    Image.new("RGBA", (10, 10), (0, 0, 0, 0)).save(out, "PNG")
    out.seek(0)
    assert picture_clean(out).suffix == "png"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"MZ\x90\x00" + bytes(400), "This is no picture"),
        (b"%PDF-1.7" + bytes(40), "This is no picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "This is no picture"),
        (b"", "This is no picture"),
        (_jpeg().getvalue()[:400], "The picture is damaged"),
        (_jpeg_with(BROKEN_EXIF), "The picture is damaged"),
        (_png_claiming(9000, 9000), "more than 60 million pixels"),
        (_png_claiming(40_000, 40_000), "more than 60 million pixels"),
    ],
    ids=["program", "pdf", "svg", "nothing", "cut off", "broken metadata", "too many pixels", "bomb"],
)
def test_what_is_no_picture_is_refused_in_one_sentence(
    job: Job, tech: User, settings: Any, data: bytes, words: str
) -> None:
    trail = job.trail.count()
    with pytest.raises(ShopError, match=words) as caught:
        services.picture_add(job=job, by=tech, upload=io.BytesIO(data))
    assert caught.value.words.count(".") == 1
    assert not Picture.objects.exists()
    assert job.trail.count() == trail
    assert _files(settings) == []


def test_a_file_that_is_too_large_is_refused_before_it_is_decoded(job: Job, tech: User, settings: Any) -> None:
    settings.PICTURE_MAX_BYTES = 1024 * 1024
    with pytest.raises(ShopError, match="larger than 1 MB"):
        services.picture_add(job=job, by=tech, upload=io.BytesIO(bytes(1024 * 1024 + 1)))


def test_no_file_stays_behind_when_the_row_cannot_be_written(
    job: Job, tech: User, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(**_kwargs: object) -> None:
        raise RuntimeError("disk full")

    monkeypatch.setattr("shop.services.pictures.trail_record", broken)
    with pytest.raises(RuntimeError):
        services.picture_add(job=job, by=tech, upload=_jpeg(1600, 1200))
    assert _files(settings) == []


def test_a_kept_picture_is_served_to_signed_in_people_only(job: Job, tech: User, client_as: Any, settings: Any) -> None:
    picture = services.picture_add(job=job, by=tech, upload=_jpeg(), caption="Left latch")
    assert job.trail.latest("pk").words == "Picture added: Left latch"
    address = f"/pictures/{picture.pk}/"
    answer = client_as("parts").get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
    assert b"".join(answer.streaming_content)[:3] == b"\xff\xd8\xff"
    assert client_as("nobody").get(address).status_code == 302
    for file in _files(settings):
        file.unlink()
    assert client_as("parts").get(address).status_code == 404


def test_a_film_shows_small_renditions_that_are_made_once(job: Job, tech: User, client_as: Any, settings: Any) -> None:
    picture = services.picture_add(job=job, by=tech, upload=_jpeg(1600, 1200))
    own, small = sorted(_files(settings), key=lambda path: -path.stat().st_size)
    assert small.stem == f"{own.stem}-small"
    client = client_as("parts")
    assert f'src="/pictures/{picture.pk}/small/"' in client.get(f"/jobs/{job.pk}/").content.decode()
    answer = client.get(f"/pictures/{picture.pk}/small/")
    data = b"".join(answer.streaming_content)
    assert (answer["Content-Type"], Image.open(io.BytesIO(data)).size) == ("image/jpeg", (480, 360))
    assert data == small.read_bytes()
    assert client_as("nobody").get(f"/pictures/{picture.pk}/small/").status_code == 302


def test_of_a_picture_from_before_it_is_made_when_it_is_asked_for(
    job: Job, tech: User, client_as: Any, settings: Any
) -> None:
    picture = services.picture_add(job=job, by=tech, upload=_jpeg(1600, 1200))
    next(path for path in _files(settings) if path.stem.endswith("-small")).unlink()
    client = client_as("parts")
    for _time in range(2):
        answer = client.get(f"/pictures/{picture.pk}/small/")
        assert Image.open(io.BytesIO(b"".join(answer.streaming_content))).size == (480, 360)
    assert len(_files(settings)) == 2
    for file in _files(settings):
        file.unlink()
    assert client.get(f"/pictures/{picture.pk}/small/").status_code == 404


def test_a_picture_that_is_small_is_its_own_rendition(job: Job, tech: User, client_as: Any, settings: Any) -> None:
    picture = services.picture_add(job=job, by=tech, upload=_jpeg(480, 30))
    assert len(_files(settings)) == 1
    answer = client_as("parts").get(f"/pictures/{picture.pk}/small/")
    assert Image.open(io.BytesIO(b"".join(answer.streaming_content))).size == (480, 30)


def test_a_photo_of_sixty_megapixels_is_taken_and_one_pixel_row_more_is_not(
    job: Job, tech: User, settings: Any
) -> None:
    picture = services.picture_add(job=job, by=tech, upload=_jpeg(10_000, 6_000, quality=30))
    assert (picture.width, picture.height) == (2000, 1200)
    with pytest.raises(ShopError, match="more than 60 million pixels"):
        services.picture_add(job=job, by=tech, upload=_jpeg(10_000, 6_001, quality=30))


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("view.jpg", b"MZ\x90\x00" + bytes(400), "This is no picture; expected a JPEG, PNG or WebP file."),
        ("view.heic", b"\x00\x00\x00\x18ftypheic" + bytes(400), "This is a HEIC picture"),
        ("view.jpg", b"\x00\x00\x00\x18ftypmif1" + bytes(400), "This is a HEIC picture"),
        ("view.jpg", b"#!/bin/sh\necho here\n", "This is no picture; expected a JPEG, PNG or WebP file."),
    ],
    ids=["renamed program", "heic", "renamed heic", "renamed script"],
)
def test_what_a_telephone_or_a_prankster_sends_is_answered_on_the_page(
    job: Job, client_as: Any, settings: Any, name: str, data: bytes, words: str
) -> None:
    """Whatever its name and the type that the browser claims say."""
    upload = SimpleUploadedFile(name, data, content_type="image/jpeg")
    answer = client_as("technician").post(f"/jobs/{job.pk}/pictures/", {"file": upload})
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not Picture.objects.exists()
    assert _files(settings) == []


def _files(settings: Any) -> list[Path]:
    return [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]
