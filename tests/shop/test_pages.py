"""Pages as people use them: what they show, what bad input gives back, and how many queries they cost."""

import datetime as dt
import io
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from PIL import Image

from shop import gates, services
from shop.models import Car, Hold, Job, Stage, TaskRun, User
from shop.runs import run_cancel, run_claim, run_fail, run_finish, run_queue, run_step
from shop.vin import check_digit

pytestmark = pytest.mark.django_db
ClientAs = Callable[[str], Client]
HTMX = {"HX-Request": "true"}


def _vin(number: int) -> str:
    open_vin = f"0TWBH590_RT{number:06d}"
    return open_vin.replace("_", check_digit(open_vin))


def _cars(by: User, numbers: range, stage: Stage = Stage.HERE) -> list[Job]:
    jobs = []
    for number in numbers:
        owner = services.customer_create(by=by, name=f"Marlow {number:03d}")
        car = services.car_create(
            by=by,
            vin=_vin(number),
            maker="Norvik",
            model="Strand",
            made_on=dt.date(2012, 3, 1),
            plate=f"KT-{number:03d} Z",
            owner=owner,
        )
        jobs.append(services.job_open(car=car, by=by, title=f"Top stops {number}", stage=stage))
    return jobs


def _queries(client: Client, address: str, **options: Any) -> int:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(address, **options).status_code == 200
    return len(captured)


def test_the_floor_groups_the_cars_by_what_holds_them_up(client_as: ClientAs, owner: User) -> None:
    client = client_as("owner")
    assert "The floor is empty" in client.get("/").content.decode()
    bench, part, booked, gone = _cars(owner, range(4))
    services.job_hold(job=part, by=owner, hold=Hold.PART, note="seal kit")
    services.job_move(job=gone, by=owner, stage=Stage.DONE)
    services.job_move(job=gone, by=owner, stage=Stage.GONE)
    Job.objects.filter(pk=booked.pk).update(stage=Stage.BOOKED)
    page = client.get("/")
    floor = page.context["floor"]
    assert [(group.hold, group.jobs) for group in floor.groups] == [(Hold.BENCH, [bench]), (Hold.PART, [part])]
    assert floor.booked == (booked,)
    assert floor.cars == 2
    text = page.content.decode()
    assert text.index("Waiting for the bench") < text.index("Waiting for a part") < text.index("Booked, not here yet")
    assert "seal kit" in text
    assert gone.title not in text


def test_floor_and_search_cost_no_more_queries_with_more_rows(client_as: ClientAs, owner: User) -> None:
    client = client_as("owner")
    _cars(owner, range(2))
    few = (_queries(client, "/"), _queries(client, "/cars/?q=marlow"), _queries(client, "/cars/?q=kt", headers=HTMX))
    _cars(owner, range(2, 20))
    many = (_queries(client, "/"), _queries(client, "/cars/?q=marlow"), _queries(client, "/cars/?q=kt", headers=HTMX))
    assert many == few
    assert max(many) < 12


def test_car_file_and_job_cost_no_more_queries_with_more_rows(client_as: ClientAs, job: Job, owner: User) -> None:
    client = client_as("owner")
    addresses = (job.car.get_absolute_url(), job.get_absolute_url())
    services.note_add(job=job, by=owner, words="one")
    services.picture_add(job=job, by=owner, upload=_picture())
    services.odometer_add(car=job.car, by=owner, km=10, read_on=dt.date(2019, 1, 1))
    few = [_queries(client, address) for address in addresses]
    for number in range(8):
        services.note_add(job=job, by=owner, words=f"note {number}")
        services.picture_add(job=job, by=owner, upload=_picture())
        services.odometer_add(car=job.car, by=owner, km=number, read_on=dt.date(2020, 1, 1 + number))
        services.job_open(car=job.car, by=owner, title="Another")
    many = [_queries(client, address) for address in addresses]
    assert many == few
    assert max(many) < 12


@pytest.mark.parametrize(
    "words",
    ["0twbh59", "000007", "kt-007", "kt007", "KT007Z", "kt-007 z", "low 007", "marlow 007", "0TWBH59-"],
)
def test_a_car_is_found_by_any_part_of_vin_plate_or_owner(client_as: ClientAs, owner: User, words: str) -> None:
    job = _cars(owner, range(6, 9))[1]
    wanted = job.car
    fragment = client_as("technician").get("/cars/", {"q": words}, headers=HTMX).content.decode()
    assert wanted.vin in fragment
    assert job.number in fragment, "its open job is one tap away"
    assert "<html" not in fragment
    page = client_as("technician").get("/cars/", {"q": words}).content.decode()
    assert wanted.vin in page
    assert "<html" in page


def test_words_that_no_car_has_find_none_and_are_shown_as_typed(client_as: ClientAs, car: Car) -> None:
    assert client_as("technician").get("/cars/", {"q": "\0"}).status_code == 200
    text = client_as("technician").get("/cars/", {"q": "%_<b>"}).content.decode()
    assert "No car has “%_&lt;b&gt;” in its VIN, plate or owner." in text
    assert car.vin not in text


def _car_data(**change: str) -> dict[str, str]:
    right = {"vin": _vin(1), "plate": "KT 1", "maker": "Norvik", "model": "Strand", "made_on": "2012-03"}
    return right | {"climate": "hot", "system": "softbow-hydro", "owner": ""} | change


def test_a_car_is_taken_in_and_its_check_digit_said(client_as: ClientAs, car: Car) -> None:
    client = client_as("counter")
    answer = client.post("/cars/new/", _car_data(owner=f"Ada Quill ({car.owner_id})"), follow=True)
    made = Car.objects.get(vin=_vin(1))
    assert (made.owner, made.made_on, made.system) == (car.owner, dt.date(2012, 3, 1), "softbow-hydro")
    text = answer.content.decode()
    assert "Check digit agrees" in text
    assert "Mar 2012" in text
    wrong = _vin(2)[:8] + "Z" + _vin(2)[9:]
    text = client.post("/cars/new/", _car_data(vin=wrong), follow=True).content.decode()
    assert "Check digit differs" in text
    assert "Place 9 reads Z" in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"vin": "0TWBH5903RTO00001"}, "Place 12 of the VIN reads O; a VIN has only digits"),
        ({"vin": "0TWBH5903RTI00001"}, "was 0TWBH5903RT100001 meant?"),
        ({"vin": "0TWBH5903RTQ00001"}, "Place 12 of the VIN reads Q"),
        ({"vin": "0TWBH590"}, "A VIN has 17 characters; this one has 8."),
        ({"vin": "0TWAH5903RT000001"}, "This VIN is in the books already: Halden Brise."),
        ({"made_on": "2999-01"}, "This month lies in the future; expected this month or earlier."),
        ({"made_on": "June 2014"}, "Give the month as year and month, for example 2014-06."),
        ({"owner": "Nobody"}, "There is no such customer: pick one from the list, or add the customer first."),
        ({"owner": f"x ({2**70})"}, "There is no such customer"),
    ],
)
def test_a_wrong_car_comes_back_with_one_sentence_and_all_that_was_typed(
    client_as: ClientAs, car: Car, change: dict[str, str], words: str
) -> None:
    data = _car_data(**change)
    answer = client_as("counter").post("/cars/new/", data)
    text = answer.content.decode()
    assert answer.status_code == 422
    assert words in text
    assert text.count('class="error"') == 1
    for typed in filter(None, data.values()):
        assert f'value="{typed}"' in text
    assert Car.objects.count() == 1


def test_two_customers_of_one_name_are_not_guessed_between(client_as: ClientAs, car: Car, counter: User) -> None:
    services.customer_create(by=counter, name="Ada Quill")
    answer = client_as("counter").post("/cars/new/", _car_data(owner="ada quill"))
    assert (answer.status_code, Car.objects.count()) == (422, 1)
    assert "More than one customer has this name" in answer.content.decode()


def test_a_car_is_changed_and_the_timeline_tells(client_as: ClientAs, car: Car) -> None:
    client = client_as("technician")
    assert f'value="{car.vin}"' in client.get(f"/cars/{car.pk}/edit/").content.decode()
    data = _car_data(vin=car.vin, plate="NEW 1")
    text = client.post(f"/cars/{car.pk}/edit/", data, follow=True).content.decode()
    assert "plate TW 14 K → NEW 1" in text
    answer = client.post(f"/cars/{car.pk}/edit/", _car_data(vin="short"))
    assert answer.status_code == 422
    car.refresh_from_db()
    assert car.plate == "NEW 1"


def test_the_timeline_is_filtered_and_paged(client_as: ClientAs, job: Job, tech: User) -> None:
    for number in range(35):
        services.note_add(job=job, by=tech, words=f"Note number {number}.")
    client, address = client_as("technician"), job.car.get_absolute_url()
    first = client.get(address, headers={**HTMX, "HX-Target": "trail"}).content.decode()
    assert "<html" not in first
    assert "Note number 34." in first
    assert "Note number 4." not in first
    assert "Note number 4." in client.get(address, {"page": "2"}).content.decode()
    only_car = client.get(address, {"only": "car"}).content.decode()
    assert "Taken into the books" in only_car
    assert "Note number" not in only_car
    assert client.get(address, {"page": "x", "only": "nonsense"}).status_code == 200


def test_a_wrong_odometer_reading_comes_back_on_the_car_file(client_as: ClientAs, car: Car, counter: User) -> None:
    services.odometer_add(car=car, by=counter, km=50_000, read_on=dt.date(2020, 1, 1))
    client = client_as("technician")
    answer = client.post(f"/cars/{car.pk}/odometer/", {"km": "51000", "read_on": "2020-01-01"})
    assert answer.status_code == 422
    assert "On that day 50,000 km are booked already." in answer.content.decode()
    text = client.post(
        f"/cars/{car.pk}/odometer/", {"km": "4000", "read_on": "2021-01-01"}, follow=True
    ).content.decode()
    assert "less than 50,000 km before" in text


def test_a_job_is_opened_moved_held_and_noted(client_as: ClientAs, car: Car) -> None:
    client = client_as("counter")
    data = {"title": "Lid stays open", "complaint": "Since Monday", "here": "on"}
    client.post(f"/cars/{car.pk}/jobs/new/", data)
    job = car.jobs.get()
    assert (job.stage, job.complaint) == (Stage.HERE, "Since Monday")
    address = job.get_absolute_url()
    client.post(f"{address}stage/", {"stage": "tracing"})
    client.post(f"{address}hold/", {"hold": "customer", "note": "price agreed?"})
    text = client.post(f"{address}notes/", {"words": "Called <b>twice</b>."}, follow=True).content.decode()
    assert "Tracing the fault" in text
    assert "price agreed?" in text
    assert "Called &lt;b&gt;twice&lt;/b&gt;." in text
    assert client.post(f"{address}stage/", {"stage": "flying"}).status_code == 422
    assert client.post(f"{address}stage/", {"stage": "gone"}).status_code == 409
    job.refresh_from_db()
    assert (job.stage, job.hold) == (Stage.TRACING, Hold.CUSTOMER)


def test_a_job_that_is_not_proven_shows_every_reason_and_asks_the_owner_why(
    client_as: ClientAs, job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gates, "_gates", [lambda job: ["BG3 is not proven.", "BG5 stays made, 12 %."]])
    address = f"{job.get_absolute_url()}stage/"
    answer = client_as("technician").post(address, {"stage": "done"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "BG3 is not proven." in text
    assert "BG5 stays made, 12 %." in text
    assert "Only the owner of the shop" in text
    text = client_as("owner").post(address, {"stage": "done"}).content.decode()
    assert "Call it done without proof" in text
    assert client_as("owner").post(address, {"stage": "done", "why": "Sold as it is."}).status_code == 302
    job.refresh_from_db()
    assert job.stage == Stage.DONE


def _picture() -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "PNG")
    out.seek(0)
    out.name = "top.png"
    return out


def test_an_upload_that_is_no_picture_gives_the_job_back_with_one_sentence(client_as: ClientAs, job: Job) -> None:
    client, address = client_as("technician"), f"{job.get_absolute_url()}pictures/"
    program = io.BytesIO(b"MZ" + bytes(500))
    program.name = "top.jpg"
    answer = client.post(address, {"file": program, "caption": "Left latch"})
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "This is no picture; expected a JPEG, PNG or WebP file." in text
    assert 'value="Left latch"' in text
    assert client.post(address, {"file": _picture(), "caption": "Left latch"}).status_code == 302
    assert job.pictures.get().caption == "Left latch"


def test_a_refusal_comes_to_htmx_as_a_message_beside_the_page(client_as: ClientAs, job: Job) -> None:
    answer = client_as("parts").post(f"{job.get_absolute_url()}stage/", {"stage": "done"}, headers=HTMX)
    assert answer.status_code == 403
    assert (answer["HX-Retarget"], answer["HX-Reswap"], answer["HX-Reselect"]) == ("#messages", "innerHTML", "unset")
    text = answer.content.decode()
    assert "Your role does not allow this" in text
    assert "<html" not in text


def test_a_fragment_without_a_sign_in_sends_the_whole_page_there(client_as: ClientAs) -> None:
    headers = {**HTMX, "HX-Current-URL": "http://testserver/jobs/7/?a=1"}
    answer = client_as("nobody").get("/cars/?q=x", headers=headers)
    assert answer["HX-Redirect"] == "/sign-in/?next=%2Fjobs%2F7%2F%3Fa%3D1"


def test_a_run_is_watched_until_it_ends(client_as: ClientAs, job: Job, tech: User) -> None:
    run = run_queue(kind="certificate", title="Certificate", by=tech, job=job, total=3)
    client, address = client_as("technician"), run.get_absolute_url()
    assert "Waiting for the worker" in client.get(address).content.decode()
    run_claim(run)
    run_step(run, "Drawing the proof matrix")
    page, fragment = client.get(address).content.decode(), client.get(address, headers=HTMX).content.decode()
    assert '<meta http-equiv="refresh"' in page
    assert 'hx-trigger="every 1s"' in fragment
    assert "Drawing the proof matrix" in fragment
    assert "<html" not in fragment
    run_finish(run, result_url="/certificates/7/")
    page, fragment = client.get(address).content.decode(), client.get(address, headers=HTMX).content.decode()
    assert "http-equiv" not in page
    assert "hx-trigger" not in fragment
    assert 'href="/certificates/7/"' in fragment


def test_a_run_that_failed_says_so(client_as: ClientAs, job: Job, tech: User) -> None:
    run = run_queue(kind="certificate", title="Certificate", by=tech, job=job)
    run_fail(run, "The worker could not write the file.")
    text = client_as("technician").get(run.get_absolute_url()).content.decode()
    assert "Failed" in text
    assert "The worker could not write the file." in text
    assert TaskRun.objects.get(pk=run.pk).ended_at is not None


@pytest.mark.parametrize("ended", ["failed", "cancelled"])
def test_a_run_that_came_to_nothing_leads_back_to_where_it_was_asked_for(
    client_as: ClientAs, tech: User, ended: str
) -> None:
    run = run_queue(kind="learning", title="Learning", by=tech, result_url="/ranges/")
    client, back = client_as("technician"), "Back to where it was asked for"
    assert back not in client.get(run.get_absolute_url()).content.decode()
    if ended == "failed":
        run_fail(run, "The worker stopped.")
    else:
        run_cancel(run=run, by=tech)
    text = client.get(run.get_absolute_url()).content.decode()
    assert f'<a class="btn btn-main" href="/ranges/">{back}</a>' in text
    assert "Look at the result" not in text


def test_customers_are_found_offered_and_changed(client_as: ClientAs, car: Car) -> None:
    client = client_as("counter")
    assert f"Ada Quill ({car.owner_id})" in client.get("/customers/?as=options&owner=ada").content.decode()
    assert "Ada Quill" not in client.get("/customers/?q=zzz", headers=HTMX).content.decode()
    data = {"name": "Ada Quill-Roth", "email": "ada@example.org", "phone": "", "note": ""}
    text = client.post(f"/customers/{car.owner_id}/edit/", data, follow=True).content.decode()
    assert "ada@example.org" in text
    answer = client.post("/customers/new/", {"name": "", "email": "no mail"})
    assert answer.status_code == 422
    assert 'value="no mail"' in answer.content.decode()


def test_the_car_form_takes_a_year_alone_and_where_the_history_begins_and_the_file_shows_both(
    client_as: ClientAs, car: Car
) -> None:
    client = client_as("counter")
    form = client.get(f"/cars/{car.pk}/edit/").content.decode()
    assert "Only the year is known" in form
    assert "any month of that year" in form
    fields = {"vin": car.vin, "maker": car.maker, "model": car.model, "made_on": "2014-06", "climate": "hot"}
    answer = client.post(f"/cars/{car.pk}/edit/", fields | {"year_only": "on", "known_from": "2019-03-04"})
    assert answer.status_code == 302
    page = client.get(car.get_absolute_url()).content.decode()
    assert "Production year" in page
    assert "the month is not known" in page
    assert "4 Mar 2019" in page
    wrong = client.post(f"/cars/{car.pk}/edit/", fields | {"known_from": "2009-03-04"})
    assert wrong.status_code == 422
    assert "before the car was made" in wrong.content.decode()
