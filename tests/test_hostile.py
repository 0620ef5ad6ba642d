"""Hostile values in every field of every form, in addresses and in searches: one clear answer, never a 500."""

import datetime as dt
import io
import uuid
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import models
from django.test import Client
from PIL import Image

from diagnostics.services import Contact, enquiry_send
from reports.inspection.services import inspection_open, item_answer
from shop.models import Car, Job, Picture, ShopProfile, User
from shop.services import invitation_make
from shop.services.clocks import clock_start
from tests.diagnostics.bench import add, opened, publish
from tests.reports.commissioning import commissioned, taken_on
from tests.reports.measuring import calibration, instrument
from tests.reports.records.conftest import judged_import
from tests.shop.bays import a_booking
from tests.shop.estimating import drafted, sent

pytestmark = pytest.mark.django_db

HOSTILE: dict[str, Any] = {
    "nul": "a\0b",
    "long": "x" * 10_000,
    "emoji": "👩‍🔧🔧",
    "right-to-left": "\u202eשלום\u202c",
    "huge": "9" * 40,
    "negative": "-1",
    "not-a-number": "nan",
    "infinite": "inf",
    "huge-float": "1e400",
    "empty": "",
    "spaces": "   ",
    "lines": "a\r\nSet-Cookie: b=c\r\n\r\n<script>",
    "markup": "<b onload=alert(1)>&amp;{{ 7|add:7 }}%(x)s{0}",
    "list": ["a", "b"],
    "json": '{"a": [1]}',
    "pairs": "roof:nowhere,::,lid",
}

# address -> what a good form of it holds; each value in turn is replaced by a hostile one
FORMS: dict[str, dict[str, Any]] = {
    "/cars/new/": {
        "vin": "0TWAH5903RT000002", "plate": "A 1", "maker": "Halden", "model": "Brise", "made_on": "2014-06",
        "climate": "hot", "system": "rht-trio", "owner": "Ada Quill",
    },
    "/cars/{car}/edit/": {
        "vin": "0TWAH5903RT000001", "plate": "A 1", "maker": "Halden", "model": "Brise", "made_on": "2014-06",
        "climate": "hot", "system": "rht-trio", "owner": "Ada Quill",
    },
    "/cars/{car}/owner/": {"owner": "Ada Quill", "on": "2024-01-01"},
    "/cars/{car}/merge/": {"double": "1", "why": "One number"},
    "/cars/{car}/odometer/": {"km": "5", "read_on": "2020-01-01"},
    "/cars/{car}/jobs/new/": {"title": "Look", "complaint": "Stops", "promised_on": "2030-01-01", "here": "on"},
    "/customers/new/": {"name": "Ben", "email": "b@x.example", "phone": "1", "note": "n"},
    "/customers/{customer}/edit/": {"name": "Ben", "email": "b@x.example", "phone": "1", "note": "n"},
    "/jobs/{job}/stage/": {"stage": "mending", "why": "because"},
    "/jobs/{job}/hold/": {"hold": "part", "note": "n"},
    "/jobs/{job}/notes/": {"words": "Hello"},
    "/jobs/{job}/pictures/": {
        "file": "no file", "caption": "c", "position": "BG1", "moment": "after", "before": "1",
    },
    "/pictures/{picture}/words/": {"caption": "c", "position": "BG1", "moment": "after"},
    "/pictures/{picture}/pair/": {"other": "1"},
    "/jobs/{job}/estimates/new/": {"from": "plan"},
    "/estimates/{draft}/lines/": {
        "act": "keep", "line": "", "kind": "part", "words": "Seal", "quantity": "1", "unit": "piece",
        "unit_price": "12.50", "tax_percent": "20",
    },
    "/estimates/{draft}/words/": {"title": "Estimate", "words": "w"},
    "/estimates/{draft}/send/": {"to": "ada@x.example", "hold": "on"},
    "/estimates/{draft}/answer/": {"name": "Ada", "x": "y"},
    "/estimates/{draft}/next/": {"x": "y"},
    "/estimates/{draft}/withdraw/": {"x": "y"},
    "/e/{link}/": {"name": "Ada", "line-1": "approved", "sure": "yes"},
    "/jobs/{job}/outlays/": {
        "kind": "part", "words": "Seal", "quantity": "1", "unit": "piece", "unit_price": "12.50", "tax_percent": "20",
    },
    "/shop/": {
        "opens_at": "08:00", "closes_at": "17:00", "break_minutes": "30", "work_days": "1", "hourly_rate": "90",
        "tax_percent": "20", "currency": "EUR",
    },
    "/tour/dismiss/": {"x": "y"},
    "/jobs/{job}/plan/tasks/": {
        "title": "Fit", "kind": "labour", "planned_minutes": "60", "least_minutes": "30", "most_minutes": "90",
        "needs_bay": "on", "bay": "1", "person": "1", "outside_by": "", "outside_days": "", "caution": "c",
    },
    "/jobs/{job}/plan/template/": {"template": "seal-set"},
    "/tasks/{task}/": {
        "title": "Fit", "kind": "outside", "planned_minutes": "60", "least_minutes": "30", "most_minutes": "90",
        "needs_bay": "on", "bay": "1", "person": "1", "outside_by": "Plater", "outside_days": "5", "caution": "c",
    },
    "/tasks/{task}/before/": {"before": "1"},
    "/tasks/{task}/not-before/": {"before": "1"},
    "/tasks/{task}/part/": {"part": "1", "name": "Seal", "quantity": "1", "expected_on": "2030-01-01"},
    "/tasks/{task}/part-here/": {"part": "1"},
    "/tasks/{task}/sent/": {"on": "2030-01-01"},
    "/tasks/{task}/block/": {"note": "n"},
    "/clocks/{clock}/": {"started_at": "2020-01-01T08:00", "stopped_at": "2020-01-01T09:00", "why": "forgot"},
    "/floor/bookings/": {
        "task": "1", "bay": "1", "person": "1", "day": "2030-01-01", "start": "08:00", "hours": "1.5",
        "back": "day=2030-01-01",
    },
    "/floor/bookings/{booking}/": {
        "bay": "1", "person": "1", "day": "2030-01-01", "start": "08:00", "hours": "1.5", "seen": "0",
        "back": "by=people",
    },
    "/floor/bookings/{booking}/drop/": {"seen": "0", "back": "span=day"},
    "/floor/bookings/take-back/": {"back": "day=x"},
    "/floor/bays/": {"name": "Pit"},
    "/floor/bays/{bay}/rename/": {"name": "Pit"},
    "/floor/away/": {"person": "1", "first_day": "2030-01-01", "last_day": "2030-01-02", "words": "w"},
    "/calendar/make/": {"bay": "1"},
    "/jobs/{job}/bench/": {"x": "y"},
    "/jobs/{job}/add-work/": {
        "position": "BG3", "kind": "replace", "part": "TW-BGA-3014", "revision": "a", "serial": "1", "words": "w",
    },
    "/sheets/{sheet}/pose/": {
        "pose": "open", "supply_volts": "12.5", "ignition": "on", "axis_stack": "raised", "unfold": "BG3",
    },
    "/sheets/{sheet}/complaint/": {"stop": "close:raise-lid", "lamp": "steady", "recent_work": "MM3"},
    "/sheets/{sheet}/close/": {"x": "y"},
    "/sheets/{sheet}/checks/": {
        "check": "pin", "entry_id": "6f1c1c0e-0000-4000-8000-000000000001", "position": "BG3", "volts": "0.1",
        "pose": "closed", "supply_volts": "12.5", "ignition": "yes", "at": "pin-BG3",
    },
    "/sheets/{sheet}/checks/?by-hand": {
        "check": "pin-by-hand", "position": "BG3", "pressed_volts": "0.1", "released_volts": "12", "supply_volts": "12",
    },
    "/sheets/{sheet}/checks/?click": {"check": "click:yes", "position": "BG3"},
    "/sheets/{sheet}/checks/?wiggle": {"check": "wiggle:no", "position": "BG3"},
    "/sheets/{sheet}/checks/?ohms": {"check": "continuity", "position": "BG3", "ohms": "0.4"},
    "/sheets/{sheet}/checks/?look": {"check": "look", "position": "BG3", "found": "unplugged", "words": "rust"},
    "/sheets/{sheet}/checks/?battery": {"check": "battery", "volts": "12.6"},
    "/sheets/{sheet}/checks/?motion": {
        "check": "motion", "motion": "close", "stops_at": "raise-stack", "lamp": "steady", "seconds_release-lid": "1",
    },
    "/sheets/{free}/checks/": {
        "check": "pin", "connector": "XG1", "row": "A", "number": "3", "volts": "0.1", "pose": "as it stands",
    },
    "/sheets/{free}/pose/": {"pose": "open", "supply_volts": "12.5", "ignition": "on"},
    "/sheets/{free}/complaint/": {"stop": "close:raise-lid"},
    "/checks/{check}/strike/": {"why": "wrong pin"},
    "/enquiries/ask/": {
        "system": "rht-trio", "fails": "close", "stop": "close:raise-lid", "hand": "as-it-should", "lamp": "off",
        "sound": "runs", "when": "cold", "battery": "no", "recent": "BG1", "name": "Ada", "phone": "1",
        "email": "a@x.example", "car": "Brise", "words": "w",
    },
    "/enquiries/{enquiry}/take/": {"car": "1", "as_owner": "yes"},
    "/enquiries/{enquiry}/close/": {"x": "y"},
    "/enquiries/{enquiry}/erase/": {"x": "y"},
    "/tell/send/": {
        "system": "rht-trio", "fails": "close", "stops": "raise-lid", "lamp": "off", "recent": "BG1", "name": "Ada",
        "phone": "1", "email": "a@x.example", "car": "Brise", "words": "w", "consent": "on", "website": "",
        "stamp": "forged",
    },
    "/commission/": {
        "maker": "Halden", "model": "Brise", "year": "2014", "vin": "", "top": "hard", "place": "Quay 3", "wanted": "w",
        "from_on": "2020-01-01", "until_on": "2020-01-02", "name": "Ada", "email": "a@x.example", "phone": "1",
        "seller_phone": "1", "seller_consents": "on", "seller_consent_by": "Ben", "consent": "on", "accepted": "on",
        "terms": "none", "website": "", "stamp": "forged",
    },
    "/commissions/{commission}/take/": {
        "vin": "0TWAH5903RT000002", "maker": "Halden", "model": "Brise", "made_on": "2014-01", "year_only": "on",
        "system": "rht-trio", "title": "Inspection", "appointment_on": "2999-01-01",
    },
    "/commissions/{appointed}/appointment/": {
        "appointment_on": "2999-01-01", "why": "Ill", "seen": "2020-01-01",
    },
    "/commissions/{commission}/decline/": {"reason": "No"},
    "/commissions/{commission}/link/": {"act": "send"},
    "/commissions/{commission}/erase/": {"sure": "yes"},
    "/c/{followed}/withdraw/": {"sure": "yes"},
    "/instruments/": {
        "kind": "multimeter", "name": "Meter", "serial": "S-9", "accuracy_percent": "0.3", "accuracy_volts": "0.02",
    },
    "/instruments/{meter}/": {
        "kind": "multimeter", "name": "Meter", "serial": "S-8", "accuracy_percent": "0.3", "accuracy_volts": "0.02",
    },
    "/instruments/{meter}/calibrations/": {
        "calibrated_on": "2020-01-01", "valid_until": "2021-01-01", "number": "K-1", "laboratory": "Lab",
        "expanded_volts": "0.004",
    },
    "/instruments/{meter}/retire/": {"reason": "fell down"},
    "/instruments/{meter}/return/": {"x": "y"},
    "/calibrations/{calibration}/strike/": {"reason": "wrong day"},
    "/jobs/{job}/instruments/choose/": {"instrument": "1"},
    "/jobs/{job}/instruments/undo/": {"use": "1"},
    "/system-drafts/new/": {"text": "system: rht-trio", "file": "no file"},
    "/systems/rht-trio/draft/": {"text": "system: rht-trio", "act": "keep", "seen": "0"},
    "/systems/rht-trio/draft/?number": {"text": "system: rht-trio", "act": "number"},
    "/systems/rht-trio/draft/drop/": {"seen": "1"},
    "/systems/rht-trio/draft/publish/": {"note": "Why", "seen": "1"},
    "/shelf/parts/": {"number": "TW-ZZZ-0001", "name": "Clip", "revision": "a", "supersedes": "TW-BGA-3014"},
    "/shelf/fits/": {"part": "TW-BGA-3014", "system": "rht-trio", "position": "BG1"},
    "/jobs/{job}/certificates/issue/": {"x": "y"},
    "/jobs/{job}/inspection/open/": {"x": "y"},
    "/jobs/{job}/inspection/answer/": {
        "key": "seals", "grade": "damp", "words": "w", "measured": "12", "picture": "1", "entry_id": "x",
    },
    "/jobs/{job}/inspection/skip/": {"key": "linkage", "why": "No time", "entry_id": "x"},
    "/inspection-answers/{answer}/strike/": {"why": "Wrong car"},
    "/jobs/{job}/inspection/give-up/": {"why": "Only a repair"},
    "/check/": {"file": "no file"},
    "/people/invite/": {"name": "Ida", "email": "ida@x.example", "role": "counter"},
    "/people/{person}/role/": {"role": "counter"},
    "/people/{person}/leave/": {"x": "y"},
    "/people/{person}/return/": {"x": "y"},
    "/people/{person}/second-factor/reset/": {"x": "y"},
    "/account/password/": {"old_password": "x", "new_password1": "a-long-way", "new_password2": "a-long-way"},
    "/account/second-factor/": {"hidden": "forged", "code": "123456"},
    "/account/second-factor/act/": {"act": "codes", "code": "123456"},
    "/account/sign-ins/end-others/": {"x": "y"},
    "/join/{token}/": {"username": "ida", "password1": "a-long-way-round", "password2": "a-long-way-round"},
    "/sign-in/forgotten/": {"email": "ida@x.example"},
    "/jobs/{job}/comeback/": {"after": "1", "cause": "same"},
    "/figures/hits/": {"x": "y"},
    "/records/": {"file": "no file"},
    "/records/{sent}/": {
        "kind": "cars", "sheet": "", "order": "dmy", "field-vin": "VIN", "field-maker": "Maker", "field-model": "Model",
        "field-made_on": "Built",
    },
    "/records/{sent}/bring/": {"x": "y"},
    "/records/{sent}/drop/": {"x": "y"},
}  # fmt: skip


SHOWN = (
    "/estimates/{draft}/", "/jobs/{job}/outlays/", "/e/{link}/",
    "/", "/cars/{car}/", "/jobs/{job}/", "/sheets/{sheet}/", "/sheets/{free}/", "/jobs/{job}/bench/panel/",
    "/commission/", "/commissions/", "/commissions/{commission}/", "/jobs/{job}/inspection/",
    "/commissions/{appointed}/", "/jobs/{job}/commission/",
    "/instruments/", "/instruments/{meter}/", "/jobs/{job}/instruments/",
    "/enquiries/", "/enquiries/{enquiry}/", "/tell/", "/cars/{car}/units/", "/cars/{car}/pictures/",
    "/pictures/{picture}/look/", "/customers/{customer}/", "/shelf/",
)  # fmt: skip


@pytest.fixture
def keys(car: Car, job: Job, counter: User, tech: User, owner: User) -> dict[str, Any]:
    """What stands in the addresses: a sheet on a declared system, a check on it, and a sheet on an undeclared one."""
    publish(owner)
    ShopProfile.objects.create(pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14")
    sheet = opened(job, tech)
    other = Car.objects.create(vin="0TWAH5903RT000009", maker="Halden", model="Brise", made_on=car.made_on)
    free = opened(Job.objects.create(
        car=other, title="Undeclared", stage="here", held_since=job.opened_at, opened_at=job.opened_at, opened_by=tech
    ), tech)  # fmt: skip
    check = add(sheet, tech, check="battery", volts=12.6)
    picture = Picture.objects.create(job=job, by=tech, file="x.jpg", width=1, height=1, at=job.opened_at)
    told = enquiry_send(
        revision=sheet.revision, answers={"fails": "close"}, contact=Contact(name="Ada", phone="1"), by=counter
    )
    _offered, link = sent(job, counter)
    inspection = inspection_open(job=job, by=tech)
    answer = item_answer(inspection=inspection, by=tech, key="gaps", grade="even", entry_id=uuid.uuid4()).pk
    draft = drafted(job, counter)
    _made, token = invitation_make(by=owner, name="Ben", email="ben@x.example", role="counter")
    meter = instrument(owner)
    return {"person": tech.pk, "token": token, "meter": meter.pk, "calibration": calibration(meter, owner).pk,
            "booking": (booked := a_booking(job)).pk, "bay": booked.bay_id, "task": booked.task_id,
            "clock": (clock_start(task=booked.task, by=tech) or booked.task.clocks.get()).pk,
            "car": car.pk, "customer": car.owner_id, "job": job.pk, "sheet": sheet.pk, "free": free.pk,
            "link": link, "draft": draft.pk, "answer": answer,
            "commission": (asked := commissioned())[0].pk, "followed": asked[1],
            "appointed": taken_on(job, dt.date(2020, 1, 1), model="Other")[0].pk,
            "check": check.pk, "picture": picture.pk, "enquiry": told.pk, "sent": judged_import(owner).pk}  # fmt: skip


def _rows() -> dict[type[models.Model], int]:
    ours = [
        model
        for name in ("shop", "diagnostics", "parts", "reports")
        for model in apps.get_app_config(name).get_models()
    ]
    return {model: model._default_manager.count() for model in ours}


def _tampered(form: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for field in form:
        for value in HOSTILE.values():
            yield {**form, field: value}
        yield {name: value for name, value in form.items() if name != field}


def _read_again(client: Client, keys: dict[str, Any]) -> Iterator[tuple[str, int]]:
    """Whatever was let in can be shown."""
    for address in SHOWN:
        yield address, client.get(address.format(**keys)).status_code


@pytest.mark.parametrize("address", FORMS)
def test_no_value_of_a_form_breaks_anything(
    client_as: Callable[[str], Client], keys: dict[str, Any], address: str
) -> None:
    client = client_as("owner")
    client.raise_request_exception = False
    for number, data in enumerate(_tampered(FORMS[address])):
        before = _rows()
        headers = {"HX-Request": "true"} if number % 2 else {}
        answer = client.post(address.format(**keys), data, headers=headers)
        assert answer.status_code < 500, (data, answer.status_code)
        assert "Set-Cookie: b" not in str(answer.headers)
        assert b"<script>" not in answer.content.replace(b"<script src", b"")
        if answer.status_code >= 400:
            assert _rows() == before, data
    shown = dict(_read_again(client, keys))
    assert all(status in (200, 302) for status in shown.values()), shown


@pytest.mark.parametrize("value", HOSTILE.values(), ids=HOSTILE)
def test_no_search_breaks(client_as: Callable[[str], Client], keys: dict[str, Any], value: Any) -> None:
    client = client_as("owner")
    client.raise_request_exception = False
    for address, names in {
        "/cars/": ["q"], "/customers/": ["q", "owner", "as"], "/certificates/": ["q"], "/shelf/": ["q"],
        "/shelf/options/": ["system", "position"], "/systems/rht-trio/": ["revision", "as"], "/systems/": ["as"],
        "/systems/rht-trio/play/": ["motion", "step", "fault", "revision"], "/systems/rht-trio/file/": ["revision"],
        "/enquiries/ask/": ["system", "fails", "stop", "recent"], f"/enquiries/{keys['enquiry']}/": ["q", "car"],
        "/figures/": ["from", "to", "system"], "/figures/stages/": ["by", "as", "from"],
        "/figures/stages/jobs/": ["row", "column", "page"],
        f"/records/{keys['sent']}/": ["kind", "sheet", "fate", "page"],
        "/check/": ["number"],
        "/tell/about/rht-trio/": ["fails", "stops", "recent"],
        f"/cars/{keys['car']}/": ["only", "page"], f"/people/{keys['person']}/": ["only", "day", "page"],
        "/sign-in/code/": ["next"], "/cars/new/": ["owner"],
        f"/sheets/{keys['sheet']}/compare/": ["with"],
        f"/sheets/{keys['sheet']}/": ["entries", "more", "again"], f"/sheets/{keys['sheet']}/fields/": ["more"],
        f"/sheets/{keys['sheet']}/live/": ["v"], "/": ["tour"], "/sign-in/": ["next"],
        "/floor/week/": ["day", "by", "span", "task"],
    }.items():  # fmt: skip
        for name in names:
            answer = client.get(address, {name: value})
            assert answer.status_code < 500, (address, name)


def test_a_search_longer_than_a_database_takes_is_answered(client_as: Callable[[str], Client], keys: Any) -> None:
    client = client_as("owner")
    for address in ("/cars/", "/customers/", "/certificates/", "/shelf/"):
        assert client.get(address, {"q": "x" * 60_000}).status_code == 200


def test_wildcards_of_the_database_are_plain_characters(client_as: Callable[[str], Client], keys: Any) -> None:
    client = client_as("owner")
    for wildcard in ("%", "_"):
        for address, there in (("/cars/", "0TWAH5903RT000001"), ("/customers/", "Ada Quill")):
            assert there not in client.get(address, {"q": wildcard}, headers={"HX-Request": "true"}).content.decode()


@pytest.mark.parametrize(
    "address",
    [
        "/cars/{n}/", "/jobs/{n}/", "/customers/{n}/", "/pictures/{n}/", "/sheets/{n}/", "/checks/{n}/strike/",
        "/jobs/{n}/certificates/", "/cars/{n}/top-proof/", "/runs/{n}/", "/certificates/%00/", "/certificates/a%0Ab/",
        "/commissions/{n}/", "/c/%00/", "/instruments/{n}/", "/calibrations/{n}/strike/",
        "/enquiries/{n}/", "/tell/sent/%00/", "/people/{n}/", "/join/%00/", "/records/{n}/", "/records/{n}/rows.csv",
        "/check/%00/", "/certificates/..%2f..%2fsecret-key/file/", "/systems/%00/", "/certificates/{n}/file/",
    ],
)  # fmt: skip
def test_addresses_of_nothing_are_not_found(client_as: Callable[[str], Client], address: str) -> None:
    client = client_as("owner")
    client.raise_request_exception = False
    for number in ("0", "9" * 18, "9" * 25, "9" * 5000, "-1", "1e3", "١"):
        answer = (client.post if "strike" in address else client.get)(address.format(n=number))
        assert answer.status_code == 404, number


def test_every_post_asks_for_the_token(owner: User, keys: dict[str, Any]) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(owner, backend="django.contrib.auth.backends.ModelBackend")
    before = _rows()
    for address, data in FORMS.items():
        assert client.post(address.format(**keys), data).status_code == 403, address
    assert client.post("/sign-out/").status_code == 403
    assert client.post("/sign-in/", {"username": "owner", "password": "x"}).status_code == 403
    assert _rows() == before


def test_a_form_too_large_is_told(client_as: Callable[[str], Client], keys: dict[str, Any]) -> None:
    client = client_as("owner")
    body = "words=" + "x" * 3_000_000
    answer = client.post(f"/jobs/{keys['job']}/notes/", body, content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 413
    many = {f"f{n}": "x" for n in range(2000)}
    assert client.post(f"/jobs/{keys['job']}/notes/", many).status_code == 400


def test_a_text_longer_than_anybody_types_comes_back_with_one_sentence(
    client_as: Callable[[str], Client], keys: dict[str, Any], job: Job
) -> None:
    """A certificate prints the complaint: hundreds of pages of it would keep the worker busy for minutes."""
    answer = client_as("owner").post(f"/jobs/{job.pk}/notes/", {"words": "x" * 4001})
    assert answer.status_code == 422
    assert "at most 4000 characters" in answer.content.decode()
    answer = client_as("owner").post(f"/cars/{job.car_id}/jobs/new/", {"title": "Look", "complaint": "x" * 4001})
    assert answer.status_code == 422
    assert not job.notes.exists()


def test_the_name_of_an_upload_goes_nowhere(client_as: Callable[[str], Client], keys: dict[str, Any], job: Job) -> None:
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "PNG")
    file = SimpleUploadedFile("../../evil\r\nX: y.html", out.getvalue(), content_type="text/html")
    client = client_as("technician")
    client.post(f"/jobs/{job.pk}/pictures/", {"file": file, "caption": "<b>"})
    picture = job.pictures.get(caption="<b>")
    assert "evil" not in picture.file.name
    answer = client.get(f"/pictures/{picture.pk}/")
    answer.close()
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "evil" not in str(answer.headers)
