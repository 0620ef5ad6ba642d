"""Pictures on a certificate: chosen by a person, drawn with their caption, and part of what is certified."""

import io
from typing import Any

import pikepdf
import pikepdf.pdfa
import pypdfium2 as pdfium
import pypdfium2.raw as raw
import pytest
from django.db import IntegrityError, transaction
from PIL import Image

from reports import services as certificates
from reports.document.content import Shown
from reports.document.draw import draw
from reports.models import Certificate, CertificateState
from reports.signing.judge import judge
from reports.tasks import certificate_issue_task
from shop import services
from shop.errors import Conflict, ShopError
from shop.models import Job, Picture, RunState, TrailEntry, User
from shop.services.pictures import ON_PAPER_AT_MOST
from tests.reports import sample
from tests.reports.test_draw import pages_of

CAPTION = "Bracket of BG7, cracked at the weld"


def jpeg(width: int = 64, height: int = 48, colour: str = "#8a3d0c") -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "JPEG")
    out.seek(0)
    return out


def clear_png(width: int, height: int) -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGBA", (width, height), (138, 61, 12, 90)).save(out, "PNG")
    out.seek(0)
    return out


def add(job: Job, by: User, upload: io.BytesIO | None = None, **said: Any) -> Picture:
    said = {"caption": CAPTION, "position": "BG7", "moment": "before", "on_paper": True} | said
    return services.picture_add(job=job, by=by, upload=upload or jpeg(), **said)


def issued(job: Job, by: User) -> Certificate:
    certificate, run = certificates.certificate_ask(job=job, by=by)
    assert run is not None
    certificate_issue_task(str(run.pk), certificate.pk)
    certificate.refresh_from_db()
    return certificate


def _rules(opened: pikepdf.Pdf) -> set[str]:
    """What a checker of PDF/A-3b says of a file: of a signed one with data, that it knows neither."""
    return {one.rule for one in pikepdf.pdfa.check(opened, "3b").findings}


def rules_without_pictures(job: Job, by: User) -> set[str]:
    certificate = issued(job, by)
    with certificate.file.open("rb") as file, pikepdf.open(file) as opened:
        return _rules(opened)


def images_of(pdf: bytes) -> list[tuple[int, int]]:
    """Pixel sizes of the pictures on all pages, but for what our own marks are made of."""
    document = pdfium.PdfDocument(pdf)
    sizes = [one.get_px_size() for page in document for one in page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE])]
    document.close()
    return sizes


def test_only_what_was_chosen_stands_on_it_with_its_caption(checked: Job, tech: User, client_as: Any) -> None:
    bare = rules_without_pictures(checked, tech)
    chosen = add(checked, tech, jpeg(1600, 900))
    add(checked, tech, jpeg(colour="#204060"), caption="The owner’s dog", on_paper=False)
    certificate = issued(checked, tech)
    with certificate.file.open("rb") as file:
        pdf = file.read()
    assert certificate.content["pictures"] == [
        {"digest": chosen.digest, "caption": CAPTION, "position": "BG7", "moment": "before",
         "at": certificate.content["pictures"][0]["at"], "by": str(tech)}
    ]  # fmt: skip
    assert images_of(pdf) == [(1200, 675)], "as large as a page needs"
    words = " ".join(pages_of(pdf))
    assert f"Picture 1. {CAPTION}" in words
    assert "before the work" in words
    assert "dog" not in words
    assert not judge(pdf, [certificate.root.pem]).wrong
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert _rules(opened) == bare
    page = client_as("technician").get(certificate.get_absolute_url()).content.decode()
    assert f'src="/pictures/{chosen.pk}/small/"' in page
    assert CAPTION in page
    public = client_as("nobody").get(f"/check/{certificate.number}/").content.decode()
    assert certificate.number in public
    assert CAPTION not in public


def test_what_was_transparent_stands_on_white(checked: Job, tech: User) -> None:
    bare = rules_without_pictures(checked, tech)
    add(checked, tech, clear_png(30, 400))
    certificate = issued(checked, tech)
    with certificate.file.open("rb") as file, pikepdf.open(file) as opened:
        assert _rules(opened) == bare
        images = [image for page in opened.pages for image in page.get_images().values()]
        assert [image.ColorSpace for image in images] == ["/DeviceRGB"]
        assert "/SMask" not in images[0]


def test_choosing_another_is_another_certificate(checked: Job, tech: User) -> None:
    first = issued(checked, tech)
    picture = add(checked, tech, on_paper=False)
    assert issued(checked, tech) == first, "a picture that is not on it changes nothing"
    said = {"caption": CAPTION, "position": "", "moment": ""}
    services.picture_describe(picture=picture, by=tech, **said, on_paper=True)
    second = issued(checked, tech)
    assert second.replaces == first
    services.picture_describe(picture=picture, by=tech, **said, on_paper=False)
    third = issued(checked, tech)
    assert (third.replaces, third.content["pictures"]) == (second, [])
    told = TrailEntry.objects.filter(kind="job.pictured").latest("pk")
    assert told.words == f"Picture: {CAPTION}, on the certificate → {CAPTION}"


def test_without_a_caption_it_is_refused(checked: Job, tech: User, client_as: Any) -> None:
    picture = add(checked, tech, on_paper=False, caption="")
    with pytest.raises(ShopError, match="Say what it shows"):
        services.picture_describe(picture=picture, by=tech, caption=" ", position="", moment="", on_paper=True)
    answer = client_as("technician").post(f"/pictures/{picture.pk}/words/", {"caption": "", "on_paper": "on"})
    assert answer.status_code == 422
    assert "Say what it shows: on a certificate a picture stands with its caption." in answer.content.decode()
    with pytest.raises(IntegrityError), transaction.atomic():
        Picture.objects.filter(pk=picture.pk).update(on_paper=True)


def test_it_is_chosen_and_taken_off_by_the_form(checked: Job, tech: User, client_as: Any) -> None:
    picture, client = add(checked, tech, on_paper=False), client_as("technician")
    url = f"/pictures/{picture.pk}/words/"
    assert client.post(url, {"caption": CAPTION, "on_paper": "on"}).status_code == 302
    assert "on the certificate" in client.get(f"/pictures/{picture.pk}/look/").content.decode()
    assert client.post(url, {"caption": CAPTION}).status_code == 302
    picture.refresh_from_db()
    assert not picture.on_paper


def test_no_more_than_a_letter_can_carry(checked: Job, tech: User) -> None:
    for number in range(ON_PAPER_AT_MOST):
        last = add(checked, tech, jpeg(20 + number, 20), caption=f"View {number}")
    with pytest.raises(Conflict, match=f"shows {ON_PAPER_AT_MOST} pictures already"):
        add(checked, tech, jpeg(90, 90))
    services.picture_describe(picture=last, by=tech, caption="Last view", position="", moment="", on_paper=True)
    assert checked.pictures.filter(on_paper=True).count() == ON_PAPER_AT_MOST


def test_a_missing_file_is_said_and_nothing_is_issued(checked: Job, tech: User) -> None:
    picture = add(checked, tech)
    picture.file.storage.delete(str(picture.file.name))
    certificate = issued(checked, tech)
    assert certificate.state == CertificateState.ISSUING
    assert certificate.run is not None
    assert certificate.run.state == RunState.FAILED
    assert certificate.run.words == f"The file of the picture “{CAPTION}” is missing or damaged, so nothing was issued."


@pytest.mark.parametrize("size", [(4000, 3), (3, 4000), (1, 1), (1200, 1200)])
@pytest.mark.parametrize("count", [1, 2, 7])
def test_any_shape_and_number_fits_the_page(size: tuple[int, int], count: int) -> None:
    at = sample.certificate(sample.results(sample.repaired())).issued_at
    rows = tuple(Shown(str(n), "جديد " + "W" * 140, "BG7", "", at, "N") for n in range(count))
    content = sample.certificate(sample.results(sample.repaired()), pictures=rows)
    files = {row.digest: jpeg(*size).getvalue() for row in rows[1:]}
    drawn = draw(content, pictures=files)
    assert len(images_of(drawn.pdf)) == count - 1
    assert "Not in this copy." in " ".join(pages_of(drawn.pdf))
