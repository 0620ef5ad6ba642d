"""Pictures as evidence: several at once, before and after side by side, a film over all jobs of a car; bad ones among
them cost the good ones nothing."""

import datetime as dt
import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from PIL import Image

from shop import selectors, services
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, JobNote, Picture, User
from shop.uploads import picture_clean
from shop.words import quick_notes
from tests.diagnostics.bench import publish

pytestmark = pytest.mark.django_db


def _bytes(colour: str = "#8a3d0c", form: str = "JPEG", **options: Any) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(out, form, **options)
    return out.getvalue()


def _sent(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, "image/jpeg")


def _picture(job: Job, by: User, colour: str, at: dt.datetime | None = None, **more: Any) -> Picture:
    picture = services.picture_add(job=job, by=by, upload=io.BytesIO(_bytes(colour)), **more)
    if at is not None:
        Picture.objects.filter(pk=picture.pk).update(at=at)
        picture.refresh_from_db()
    return picture


def _at(year: int, month: int) -> dt.datetime:
    return dt.datetime(year, month, 5, 12, tzinfo=dt.UTC)


@pytest.mark.parametrize("brand", [b"heic", b"mif1", b"hevc"])
def test_a_heic_picture_is_known_by_its_bytes_and_told_what_to_do(brand: bytes) -> None:
    data = b"\x00\x00\x00\x18ftyp" + brand + bytes(400)
    with pytest.raises(ShopError, match="This is a HEIC picture") as caught:
        picture_clean(io.BytesIO(data))
    assert "JPEG" in caught.value.words
    assert caught.value.words.count(".") == 1


def test_another_file_of_the_same_family_is_no_picture() -> None:
    with pytest.raises(ShopError, match="This is no picture"):
        picture_clean(io.BytesIO(b"\x00\x00\x00\x18ftypmp42" + bytes(400)))


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_a_moving_picture_is_refused_and_a_still_one_of_the_format_kept(form: str) -> None:
    frames = [Image.new("RGB", (8, 8), colour) for colour in ("#ff0000", "#00ff00")]
    out = io.BytesIO()
    frames[0].save(out, form, save_all=True, append_images=frames[1:])
    with pytest.raises(ShopError, match="moves"):
        picture_clean(io.BytesIO(out.getvalue()))
    assert picture_clean(io.BytesIO(_bytes(form=form))).width == 40


def test_a_jpeg_with_a_second_picture_inside_is_a_still() -> None:
    out = io.BytesIO()
    second = Image.new("RGB", (8, 8), "#00ff00")
    Image.new("RGB", (8, 8), "#ff0000").save(out, "MPO", save_all=True, append_images=[second])
    assert picture_clean(io.BytesIO(out.getvalue())).suffix == "jpg"


def test_the_same_picture_twice_is_kept_once_and_said(job: Job, tech: User, client_as: Any) -> None:
    client: Client = client_as("technician")
    address = f"/jobs/{job.pk}/pictures/"
    client.post(address, {"file": _sent("a.jpg", _bytes()), "caption": "Lid"})
    trail = job.trail.count()
    answer = client.post(address, {"file": _sent("b.jpg", _bytes(comment=b"saved anew"))}, follow=True)
    assert "This picture is in the job already; it is kept once." in answer.content.decode()
    assert (job.pictures.get().caption, job.trail.count()) == ("Lid", trail)


def test_several_at_once_and_a_bad_one_costs_the_others_nothing(job: Job, client_as: Any) -> None:
    client: Client = client_as("parts")
    files = [
        _sent("a.jpg", _bytes("#111111")), _sent("setup.jpg", b"MZ\x90\x00" + bytes(400)),
        _sent("b.jpg", _bytes("#222222")),
    ]  # fmt: skip
    data = {"file": files, "camera": _sent("c.jpg", _bytes("#333333")), "caption": "Lid", "position": "BG3"}
    answer = client.post(f"/jobs/{job.pk}/pictures/", data)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "3 pictures are kept." in text
    assert "setup.jpg: This is no picture; expected a JPEG, PNG or WebP file." in text
    assert list(job.pictures.values_list("caption", "position")) == [("Lid", "BG3")] * 3


def test_nothing_chosen_is_said(job: Job, client_as: Any) -> None:
    answer = client_as("technician").post(f"/jobs/{job.pk}/pictures/", {"caption": "Lid"})
    assert answer.status_code == 422
    assert "Choose a picture, or take one." in answer.content.decode()


def test_a_picture_after_the_work_is_paired_as_it_is_sent(job: Job, tech: User, client_as: Any) -> None:
    before = _picture(job, tech, "#111111", _at(2024, 3), moment="before", position="BG3")
    client: Client = client_as("technician")
    offered = f'<option value="{before.pk}">without a caption, BG3, 5 Mar 2024</option>'
    assert offered in client.get(f"/jobs/{job.pk}/").content.decode()
    data = {"file": [_sent("a.jpg", _bytes("#222222"))], "moment": "after", "before": before.pk}
    assert client.post(f"/jobs/{job.pk}/pictures/", data).status_code == 302
    after = job.pictures.get(moment="after")
    assert after.before == before
    page = client.get(f"/pictures/{before.pk}/look/").content.decode()
    assert page.index(f'src="/pictures/{before.pk}/"') < page.index(f'src="/pictures/{after.pk}/"')
    two = {"file": [_sent("a.jpg", _bytes("#333333")), _sent("b.jpg", _bytes("#444444"))], "before": before.pk}
    assert client.post(f"/jobs/{job.pk}/pictures/", two).status_code == 422, "it has its picture after already"
    assert job.pictures.count() == 2


def test_two_pictures_sent_for_one_before_are_refused(job: Job, tech: User) -> None:
    before = _picture(job, tech, "#111111")
    uploads = [("a.jpg", io.BytesIO(_bytes("#222222"))), ("b.jpg", io.BytesIO(_bytes("#333333")))]
    with pytest.raises(ShopError, match="send that one by itself"):
        services.pictures_add(job=job, by=tech, uploads=uploads, before=before)
    assert job.pictures.count() == 1


def test_two_taps_pair_two_pictures_and_one_takes_them_apart(job: Job, tech: User, client_as: Any) -> None:
    first = _picture(job, tech, "#111111", _at(2024, 3), caption="Torn seal")
    second = _picture(job, tech, "#222222", _at(2024, 5), caption="New seal")
    client: Client = client_as("technician")
    page = client.get(f"/pictures/{second.pk}/look/").content.decode()
    assert f'name="other" value="{first.pk}"' in page
    client.post(f"/pictures/{second.pk}/pair/", {"other": first.pk})
    second.refresh_from_db()
    assert second.before == first, "the one taken first is the one before"
    assert job.trail.latest("pk").words == "Before and after: Torn seal → New seal"
    client.post(f"/pictures/{second.pk}/unpair/")
    second.refresh_from_db()
    assert (second.before, job.pictures.count()) == (None, 2)
    assert "No longer before and after" in job.trail.latest("pk").words


def test_what_was_said_of_the_moment_goes_before_the_time(job: Job, tech: User) -> None:
    first = _picture(job, tech, "#111111", _at(2024, 3), moment="after")
    second = _picture(job, tech, "#222222", _at(2024, 5))
    assert selectors.in_order(first, second) == (second, first)
    assert selectors.in_order(second, first) == (second, first)
    with pytest.raises(ShopError, match="other moment"):
        services.picture_pair(before=first, after=second, by=tech)


def test_a_pair_is_of_two_pictures_of_one_car_and_neither_is_paired(job: Job, car: Car, tech: User) -> None:
    one, two, three = (_picture(job, tech, colour) for colour in ("#111111", "#222222", "#333333"))
    other_car = services.car_create(by=tech, vin="0TWAH5903RT000002", maker="A", model="B", made_on=car.made_on)
    other = _picture(services.job_open(car=other_car, by=tech, title="x"), tech, "#444444")
    for before, after, words in ((one, one, "choose two"), (one, other, "two cars")):
        with pytest.raises(ShopError, match=words):
            services.picture_pair(before=before, after=after, by=tech)
    services.picture_pair(before=one, after=two, by=tech)
    for before, after in ((one, three), (three, two), (two, three), (three, one), (one, two)):
        with pytest.raises(Conflict, match="paired already"):
            services.picture_pair(before=before, after=after, by=tech)
    assert Picture.objects.exclude(before=None).get() == two


def test_what_is_said_of_a_picture_can_be_changed_and_the_trail_keeps_both(
    job: Job, tech: User, client_as: Any
) -> None:
    picture = _picture(job, tech, "#111111", caption="Lid")
    client: Client = client_as("counter")
    data = {"caption": "Lid switch", "position": "BG3", "moment": "before"}
    assert client.post(f"/pictures/{picture.pk}/words/", data).status_code == 302
    assert job.trail.latest("pk").words == "Picture: Lid → Lid switch, BG3, Before"
    count = job.trail.count()
    client.post(f"/pictures/{picture.pk}/words/", data)
    assert job.trail.count() == count, "nothing changed, nothing to tell"
    assert client.post(f"/pictures/{picture.pk}/words/", data | {"moment": "never"}).status_code == 422


def test_a_pair_cannot_be_talked_into_the_wrong_order(job: Job, tech: User) -> None:
    one, two = (_picture(job, tech, colour) for colour in ("#111111", "#222222"))
    services.picture_pair(before=one, after=two, by=tech)
    for picture, moment in ((one, "after"), (two, "before")):
        with pytest.raises(ShopError, match="other moment"):
            services.picture_describe(picture=picture, by=tech, caption="", position="", moment=moment)
    assert set(Picture.objects.values_list("moment", flat=True)) == {""}


def test_the_film_runs_over_all_jobs_by_month_and_pairs_stand_together(
    car: Car, job: Job, tech: User, client_as: Any
) -> None:
    later_job = services.job_open(car=car, by=tech, title="Seal")
    new = _picture(later_job, tech, "#333333", _at(2024, 6))
    before = _picture(job, tech, "#111111", _at(2023, 1))
    alone = _picture(job, tech, "#222222", _at(2023, 1))
    services.picture_pair(before=before, after=new, by=tech)
    film = selectors.film_of(selectors.pictures_of_car(car))
    told = [(part.month, [(one.before, one.picture) for one in part.frames]) for part in film]
    assert told == [(dt.date(2023, 1, 1), [(None, alone)]), (dt.date(2024, 6, 1), [(before, new)])]
    of_the_job = selectors.film_of(selectors.pictures_of_car(car).filter(job=job))
    assert [one.picture for one in of_the_job[0].frames] == [before, alone], "its own job keeps the picture before"
    client: Client = client_as("parts")
    for address in (f"/cars/{car.pk}/pictures/", f"/cars/{car.pk}/"):
        page = client.get(address).content.decode()
        places = [page.index(f'href="/pictures/{one.pk}/look/"') for one in (alone, before, new)]
        assert places == sorted(places), address
        assert 'tabindex="0" role="region"' in page


def test_a_picture_leads_to_the_one_before_and_the_one_after_it(car: Car, job: Job, tech: User) -> None:
    one, two, three = (_picture(job, tech, f"#{n}{n}{n}", _at(2024, 3)) for n in (1, 2, 3))
    assert selectors.beside(two) == (one, three)
    assert selectors.beside(one) == (None, two)
    assert selectors.beside(three) == (two, None)


def test_the_film_and_a_picture_cost_no_more_queries_with_more_pictures(
    car: Car, job: Job, tech: User, client_as: Any
) -> None:
    client: Client = client_as("owner")
    first = _picture(job, tech, "#000000")
    addresses = (f"/cars/{car.pk}/pictures/", f"/pictures/{first.pk}/look/", f"/jobs/{job.pk}/", f"/cars/{car.pk}/")

    def cost() -> list[int]:
        out = []
        for address in addresses:
            with CaptureQueriesContext(connection) as queries:
                assert client.get(address).status_code == 200
            out.append(len(queries))
        return out

    few = cost()
    more = [_picture(job, tech, f"#{n * 25:02x}0000") for n in range(1, 9)]
    for before, after in zip(more[::2], more[1::2], strict=True):
        services.picture_pair(before=before, after=after, by=tech)
    assert cost() == few
    assert max(few) < 12


def test_nobody_signed_out_looks_and_nobody_who_left_pairs(job: Job, tech: User, client_as: Any) -> None:
    one, two = (_picture(job, tech, colour) for colour in ("#111111", "#222222"))
    assert client_as("nobody").get(f"/pictures/{one.pk}/look/").status_code == 302
    tech.is_active = False
    for write in (services.picture_pair, services.picture_unpair):
        more = {"before": one} if write is services.picture_pair else {}
        with pytest.raises(Refused):
            write(after=two, by=tech, **more)  # type: ignore[operator]


def test_a_common_note_takes_one_tap(job: Job, client_as: Any) -> None:
    client: Client = client_as("technician")
    page = client.get(f"/jobs/{job.pk}/").content.decode()
    phrase = quick_notes()[3]
    assert f'<button class="btn" name="words" value="{phrase}">' in page
    client.post(f"/jobs/{job.pk}/notes/", {"words": phrase})
    assert JobNote.objects.get().words == phrase


def test_the_positions_of_the_cars_top_are_offered(car: Car, job: Job, owner: User, client_as: Any) -> None:
    client: Client = client_as("technician")
    assert client.get(f"/cars/{car.pk}/positions/").content.strip() == b""
    publish(owner)
    assert '<option value="BG3" label="BG3 ' in client.get(f"/cars/{car.pk}/positions/").content.decode()
