"""Enquiries as customers and the counter have them: told without a sign-in, kept once, turned into a job, erased."""

import re
import uuid
from collections.abc import Callable, Iterator
from html import unescape
from typing import Any

import pytest
from django.core.cache import cache
from django.core.signing import TimestampSigner
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from diagnostics import enquiry_forms, services
from diagnostics.models import BenchSheet, Enquiry, SystemRevision
from diagnostics.selectors import evidence_of_sheet
from diagnostics.services import Contact
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Customer, Job, Stage, TrailEntry, User
from tests.diagnostics.bench import publish

pytestmark = pytest.mark.django_db
ClientAs = Callable[[str], Client]
ANSWERS = {"fails": "close", "stops": "raise-lid", "hand": "as-it-should", "sound": "silent", "lamp": "flashing"}
PERSON = {"name": "Oda Marchbank", "phone": "555 0170", "email": "", "car": "", "words": "", "consent": "on"}
CONTACT = Contact(name="Oda Marchbank", phone="555 0170", words="Since the washing plant.")


@pytest.fixture(autouse=True)
def _nobody_has_sent_yet() -> Iterator[None]:
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def revision(owner: User) -> SystemRevision:
    return publish(owner)


def _stamp(seconds_ago: int = 60) -> str:
    """A stamp as the page would have carried it that long ago."""
    signer = TimestampSigner(salt="diagnostics.tell")
    now = timezone.now().timestamp()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("django.core.signing.time.time", lambda: now - seconds_ago)
        return signer.sign(uuid.uuid4().hex)


def _send(client: Client, **change: Any) -> Any:
    data = {"system": "rht-trio", "stamp": _stamp(), **ANSWERS, **PERSON, **change}
    return client.post("/tell/send/", data)


def _text(answer: Any) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())).split())


def _follow(client: Client, address: str) -> Iterator[str]:
    """The pages of the interview as somebody without JavaScript sees them, answering each with what ANSWERS say."""
    for _number in range(10):
        page = client.get(address).content.decode()
        yield page
        asked = re.search(r'<input type="(?:radio|checkbox)" name="(\w+)"', page)
        if asked is None or asked[1] == "consent":
            return
        fields = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page)
        query = "&".join(f"{name}={value}" for name, value in [*fields, (asked[1], ANSWERS.get(asked[1], "unknown"))])
        address = f"/tell/about/rht-trio/?{query}"
    raise AssertionError("the questions do not end")


def test_a_stranger_gets_from_the_first_page_to_thanks_without_javascript(revision: SystemRevision) -> None:
    client = Client()
    start = client.get("/tell/")
    assert revision.title in _text(start)
    assert "Do not force the top" in _text(start)
    pages = list(_follow(client, "/tell/about/rht-trio/"))
    assert 2 <= len(pages) - 1 <= 6
    last = pages[-1]
    assert last.index("Do not force the top") < last.index("What it probably is</h2>"), "the caution comes first"
    assert "this promises nothing" in last
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', last))
    fields["stamp"] = _stamp()
    answer = client.post("/tell/send/", {**fields, **PERSON, "words": "Since Tuesday"})
    kept = Enquiry.objects.get()
    assert answer["Location"] == f"/tell/sent/{kept.code}/"
    thanks = client.get(answer["Location"])
    assert f"Your enquiry {kept.number} is kept" in _text(thanks)
    for secret in ("Oda", "Marchbank", "0170", "Since Tuesday"):
        assert secret not in _text(thanks), "who has the address learns no name"
    assert kept.answers["stops"] == "raise-lid"
    assert kept.complaint["stops_at"] == "raise-lid"
    assert kept.complaint["sound"] == "silent"
    assert (kept.name, kept.words, kept.by, kept.state) == ("Oda Marchbank", "Since Tuesday", None, "new")


def test_who_does_not_know_the_top_tells_it_in_words(revision: SystemRevision) -> None:
    client = Client()
    assert "in your own words" in _text(client.get("/tell/send/"))
    empty = client.post("/tell/send/", {**PERSON, "stamp": _stamp()})
    assert empty.status_code == 422
    assert not Enquiry.objects.exists()
    done = client.post("/tell/send/", {**PERSON, "stamp": _stamp(), "words": "It opens a hand and stops."})
    assert done.status_code == 302
    kept = Enquiry.objects.get()
    assert (kept.revision, kept.answers, kept.complaint) == (None, {}, {})
    assert "is kept" in _text(client.get(done["Location"]))


def test_no_contact_stands_in_an_address_in_the_trail_or_in_the_log(
    revision: SystemRevision, owner: User, caplog: pytest.LogCaptureFixture
) -> None:
    answer = _send(Client(), words="My number is 555 0170")
    told = " ".join(f"{entry.words} {entry.link}" for entry in TrailEntry.objects.all())
    for secret in ("Oda", "0170"):
        assert secret not in answer["Location"] + told + caplog.text
    assert "Enquiry E" in told


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"name": " "}, "This field is required"),
        ({"phone": ""}, "Leave a telephone number or an e-mail address"),
        ({"email": "not an address"}, "valid email"),
        ({"consent": ""}, "Without your consent nothing is kept or sent."),
        ({"website": "http://x.example"}, "A field that must stay empty was filled in."),
        ({"words": "x" * 1501}, "at most 1500 characters"),
        ({"name": "x" * 121}, "at most 120 characters"),
        ({"stamp": ""}, "This page was open too long. Nothing is lost: send it again."),
        ({"stamp": "forged:1:x"}, "This page was open too long."),
    ],
)
def test_what_cannot_be_sent_comes_back_with_one_sentence_and_what_was_typed(
    revision: SystemRevision, change: dict[str, str], words: str
) -> None:
    answer = _send(Client(), **{"car": "Brise, 2014", **change})
    assert answer.status_code == 422
    assert words in _text(answer)
    assert 'value="Brise, 2014"' in answer.content.decode()
    assert not Enquiry.objects.exists()


def test_a_page_of_yesterday_can_be_sent_again_at_once(revision: SystemRevision, settings: Any) -> None:
    client = Client()
    answer = _send(client, stamp=_stamp(13 * 3600))
    assert "open too long" in _text(answer)
    new = re.search(r'name="stamp" value="([^"]+)"', answer.content.decode())
    assert new is not None
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(enquiry_forms, "FASTEST_S", -1)
        assert _send(client, stamp=unescape(new[1])).status_code == 302


def test_faster_than_anybody_types_is_no_person(revision: SystemRevision) -> None:
    answer = _send(Client(), stamp=_stamp(0))
    assert answer.status_code == 422
    assert "faster than anybody types" in _text(answer)
    assert not Enquiry.objects.exists()


def test_the_same_sent_twice_is_kept_once_until_it_is_answered(revision: SystemRevision, counter: User) -> None:
    client = Client()
    first = _send(client)
    assert _send(client, name=" oda marchbank ")["Location"] == first["Location"]
    assert Enquiry.objects.count() == 1
    assert TrailEntry.objects.filter(kind="enquiry.sent").count() == 1
    services.enquiry_close(enquiry=Enquiry.objects.get(), by=counter)
    assert _send(client)["Location"] != first["Location"], "later it is a new enquiry"
    assert Enquiry.objects.count() == 2


def test_one_address_can_send_only_so_much_an_hour(revision: SystemRevision) -> None:
    client = Client()
    for number in range(enquiry_forms.SENDS_AN_HOUR):
        assert _send(client, words=f"try {number}").status_code == 302
    answer = _send(client, words="one more")
    assert answer.status_code == 429
    assert "Too much was sent from your address" in _text(answer)
    assert "one more" in answer.content.decode(), "what was typed is still there"
    assert Enquiry.objects.count() == enquiry_forms.SENDS_AN_HOUR
    assert client.post("/tell/send/", {"system": "rht-trio"}, REMOTE_ADDR="192.0.2.7").status_code == 422
    data = {"system": "rht-trio", "stamp": _stamp(), **ANSWERS, **PERSON}
    assert client.post("/tell/send/", data, REMOTE_ADDR="192.0.2.7").status_code == 302, "others are not held up"


def test_what_is_typed_is_shown_as_typed(revision: SystemRevision, client_as: ClientAs) -> None:
    evil = "<script>alert(1)</script>{{ 7|add:7 }}"
    _send(Client(), name=evil, words=evil, car=evil)
    kept = Enquiry.objects.get()
    for address in ("/enquiries/", kept.get_absolute_url()):
        page = client_as("counter").get(address).content.decode()
        assert "<script>alert" not in page
        assert "&lt;script&gt;alert(1)" in page
        assert "{{ 7|add:7 }}" in page


def test_an_answer_that_nobody_offered_is_said(revision: SystemRevision) -> None:
    client = Client()
    answer = client.get("/tell/about/rht-trio/", {"fails": "fly"})
    assert answer.status_code == 422
    assert "“fly” is no answer" in _text(answer)
    assert client.get("/tell/about/nothing/").status_code == 404
    assert client.get("/tell/sent/guessed/").status_code == 404
    assert _send(client, stops="nowhere").status_code == 422
    assert not Enquiry.objects.exists()


def test_the_counter_asks_on_one_page_and_sees_the_suspects_change(
    revision: SystemRevision, client_as: ClientAs
) -> None:
    client = client_as("counter")
    page = client.get("/enquiries/ask/", {"system": "rht-trio"}).content.decode()
    for asked in ("fails", "stop", "hand", "lamp", "sound", "when", "battery", "recent"):
        assert f'name="{asked}"' in page
    htmx = {"HX-Request": "true", "HX-Target": "ranked"}
    told = {"system": "rht-trio", "fails": "close", "stop": "close:raise-lid", "sound": "silent"}
    ranked = client.get("/enquiries/ask/", told, headers=htmx).content.decode()
    assert "<html" not in ranked
    assert "GP1" in ranked
    assert "/shelf/?q=TW-GPA-4001" in ranked
    wrong = client.get("/enquiries/ask/", {**told, "fails": "open"}, headers=htmx).content.decode()
    assert "belongs to the other motion" in wrong
    bad = client.post("/enquiries/ask/", {**told, "name": "Caller", "phone": ""})
    assert bad.status_code == 422
    assert 'value="close:raise-lid" selected' in bad.content.decode(), "what was chosen is still there"
    done = client.post("/enquiries/ask/", {**told, "name": "Caller", "phone": "555 0111", "recent": ["BG4", "GB1"]})
    kept = Enquiry.objects.get()
    assert done["Location"] == kept.get_absolute_url()
    assert kept.answers["stops"] == "raise-lid"
    assert {"BG4", "GP1"} <= set(kept.recent_work)
    assert str(kept.by) == "counter"


def test_an_enquiry_becomes_a_job_whose_sheet_starts_with_what_was_told(
    revision: SystemRevision, client_as: ClientAs, car: Car, tech: User
) -> None:
    enquiry = services.enquiry_send(revision=revision, answers=ANSWERS | {"recent": "BG4"}, contact=CONTACT)
    client = client_as("counter")
    page = client.get(enquiry.get_absolute_url(), {"q": "tw14k"}).content.decode()
    assert f"Job on {car.vin}" in page
    answer = client.post(f"/enquiries/{enquiry.pk}/take/", {"car": car.pk})
    enquiry.refresh_from_db()
    job = enquiry.job
    assert job is not None
    assert answer["Location"] == job.get_absolute_url()
    assert (enquiry.state, job.stage, job.car) == ("taken", Stage.BOOKED, car)
    assert job.title == "Closing: stops at “The lid opens to the rear”."[:140] or job.title.startswith("Closing")
    assert "Since the washing plant." in job.complaint
    assert job.trail.filter(kind="enquiry.taken", link=enquiry.get_absolute_url()).exists()
    panel = client.get(f"/jobs/{job.pk}/bench/panel/", headers={"HX-Request": "true"}).content.decode()
    assert "What was told beforehand" in panel
    assert "GP1" in panel
    assert "/shelf/?q=" in panel
    sheet = services.sheet_open(job=job, by=tech)
    assert sheet.complaint == enquiry.complaint
    assert "BG4" in sheet.recent_work
    evidence = evidence_of_sheet(sheet)
    assert evidence is not None
    assert evidence.case.complaint is not None
    assert evidence.case.complaint.sound == "silent"
    changed = services.sheet_set_complaint(
        sheet=sheet, by=tech, complaint={"motion": "close", "stops_at": "raise-lid", "lamp": "steady"}
    )
    assert (changed.complaint["sound"], changed.complaint["lamp"]) == ("silent", "steady"), "what was heard stays"
    changed = services.sheet_set_complaint(sheet=sheet, by=tech, complaint={"motion": "open", "stops_at": "raise-lid"})
    assert "sound" not in changed.complaint, "of another step it was not said"


def test_a_car_with_another_top_gets_the_words_and_no_complaint_on_its_sheet(
    revision: SystemRevision, car: Car, counter: User, tech: User, owner: User
) -> None:
    publish(owner, "softbow-hydro")
    Car.objects.filter(pk=car.pk).update(system="softbow-hydro")
    car.refresh_from_db()
    enquiry = services.enquiry_send(revision=revision, answers=ANSWERS, contact=CONTACT)
    job = services.enquiry_take(enquiry=enquiry, by=counter, car=car)
    assert "The lid opens to the rear" in job.complaint
    assert services.sheet_open(job=job, by=tech).complaint == {}


def test_a_new_car_is_taken_in_on_the_way_and_its_sender_becomes_the_owner(
    revision: SystemRevision, client_as: ClientAs
) -> None:
    enquiry = services.enquiry_send(revision=revision, answers=ANSWERS, contact=CONTACT)
    client = client_as("counter")
    page = client.get(enquiry.get_absolute_url()).content.decode()
    way = unescape(re.search(r'href="(/cars/new/[^"]+)"', page)[1])  # type: ignore[index]
    assert 'value="rht-trio"' in client.get(way).content.decode()
    data = {"vin": "0TWAH5903RT000009", "maker": "Halden", "model": "Brise", "made_on": "2014-06", "climate": "hot"}
    back = client.post(way, data | {"system": "rht-trio"})
    made = Car.objects.get(vin="0TWAH5903RT000009")
    assert back["Location"] == f"{enquiry.get_absolute_url()}?car={made.pk}"
    assert "Oda Marchbank becomes a customer" in _text(client.get(back["Location"]))
    client.post(f"/enquiries/{enquiry.pk}/take/", {"car": made.pk, "as_owner": "yes"})
    made.refresh_from_db()
    assert made.owner == Customer.objects.get(name="Oda Marchbank", phone="555 0170")
    assert made.jobs.count() == 1


def test_after_a_car_form_nobody_is_sent_elsewhere(client_as: ClientAs) -> None:
    data = {"vin": "0TWAH5903RT000009", "maker": "Halden", "model": "Brise", "made_on": "2014-06", "climate": "hot"}
    answer = client_as("counter").post("/cars/new/?next=https://evil.example/", data)
    assert answer["Location"].startswith("/cars/")


def test_of_two_people_one_makes_the_job_and_the_other_is_told(
    revision: SystemRevision, client_as: ClientAs, car: Car, counter: User
) -> None:
    enquiry = services.enquiry_send(revision=revision, answers=ANSWERS, contact=CONTACT)
    job = services.enquiry_take(enquiry=enquiry, by=counter, car=car)
    answer = client_as("technician").post(f"/enquiries/{enquiry.pk}/take/", {"car": car.pk})
    assert answer.status_code == 409
    assert f"has become job {job.number} already" in _text(answer)
    assert client_as("technician").post(f"/enquiries/{enquiry.pk}/close/").status_code == 409
    assert Job.objects.count() == 1
    other = services.enquiry_send(revision=revision, answers=ANSWERS, contact=CONTACT)
    assert client_as("counter").post(f"/enquiries/{other.pk}/close/")["Location"] == "/enquiries/"
    with pytest.raises(Conflict, match="closed already"):
        services.enquiry_take(enquiry=other, by=counter, car=car)
    lost = client_as("counter").post(f"/enquiries/{other.pk}/take/", {"car": "9" * 30})
    assert "Choose the car first" in _text(lost)


def test_those_that_wait_stand_first_the_oldest_on_top(
    revision: SystemRevision, client_as: ClientAs, counter: User
) -> None:
    client = client_as("counter")
    assert "Nobody waits for an answer" in _text(client.get("/enquiries/"))
    assert client.get("/enquiries/waiting/", headers={"HX-Request": "true"}).content.strip() == b""
    for name in ("First", "Second"):
        services.enquiry_send(revision=revision, answers=ANSWERS, contact=Contact(name=name, phone="1"))
    closed = services.enquiry_send(revision=revision, answers=ANSWERS, contact=Contact(name="Third", phone="1"))
    services.enquiry_close(enquiry=closed, by=counter)
    text = _text(client.get("/enquiries/"))
    assert text.index("First") < text.index("Second") < text.index("Answered lately") < text.index("Third")
    assert "2 enquiries wait" in client.get("/enquiries/waiting/", headers={"HX-Request": "true"}).content.decode()
    assert "/enquiries/waiting/" in client.get("/").content.decode()


def test_the_owner_erases_the_contact_and_the_answers_stay(
    revision: SystemRevision, client_as: ClientAs, car: Car, counter: User
) -> None:
    enquiry = services.enquiry_send(revision=revision, answers=ANSWERS, contact=CONTACT)
    with pytest.raises(Refused):
        services.enquiry_erase(enquiry=enquiry, by=counter)
    client_as("owner").post(f"/enquiries/{enquiry.pk}/erase/")
    kept = Enquiry.objects.get()
    assert (kept.name, kept.phone, kept.email, kept.car_words, kept.words, kept.digest) == ("",) * 6
    assert kept.erased_at is not None
    assert kept.answers["stops"] == "raise-lid"
    assert (
        TrailEntry.objects.get(kind="enquiry.erased").words
        == f"Erased the contact of enquiry {kept.number}; its answers stay."
    )
    page = client_as("owner").get(kept.get_absolute_url())
    assert "(contact erased)" in _text(page)
    assert "Oda" not in _text(page)
    job = services.enquiry_take(enquiry=kept, by=counter, car=car, as_owner=True)
    assert "washing" not in job.complaint
    client_as("owner").post(f"/enquiries/{enquiry.pk}/erase/")
    assert TrailEntry.objects.filter(kind="enquiry.erased").count() == 1


def test_without_anything_told_nothing_is_kept(revision: SystemRevision) -> None:
    with pytest.raises(ShopError, match="your own words"):
        services.enquiry_send(revision=revision, answers={}, contact=Contact(name="A", phone="1"))
    with pytest.raises(ShopError, match="no other way to answer"):
        services.enquiry_send(revision=revision, answers=ANSWERS, contact=Contact(name="A"))


def test_the_database_itself_refuses_a_taken_one_without_job_and_a_waiting_one_without_contact(
    revision: SystemRevision,
) -> None:
    for wrong in (
        {"name": "A", "phone": "1", "state": "taken"},
        {"name": "A", "phone": ""},
        {"name": "A", "phone": "1", "state": "lost"},
        {"name": "A", "phone": "1", "erased_at": timezone.now()},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Enquiry.objects.create(created_at=timezone.now(), **wrong)
    assert not Enquiry.objects.exists()


def test_a_sheet_of_a_job_without_enquiry_starts_empty(revision: SystemRevision, job: Job, tech: User) -> None:
    assert services.sheet_open(job=job, by=tech).complaint == {}
    assert BenchSheet.objects.get().recent_work == []
