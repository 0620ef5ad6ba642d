"""Enquiries at the counter: asked on one page, turned into a job whose sheet starts with what was told, closed,
erased."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from diagnostics import services
from diagnostics.models import BenchSheet, Enquiry, SystemRevision
from diagnostics.selectors import evidence_of_sheet
from diagnostics.services import Contact
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Customer, Job, Stage, TrailEntry, User
from tests.diagnostics.bench import publish
from tests.diagnostics.enquiring import ANSWERS, CONTACT, text_of

pytestmark = pytest.mark.django_db
ClientAs = Callable[[str], Client]


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
    answers = {"fails": "open", "stops": "unlock-header"}  # a step by that name is in both files
    enquiry = services.enquiry_send(revision=revision, answers=answers, contact=CONTACT)
    job = services.enquiry_take(enquiry=enquiry, by=counter, car=car)
    assert "The header latch opens" in job.complaint
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
    assert "Oda Marchbank becomes a customer" in text_of(client.get(back["Location"]))
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
    assert f"has become job {job.number} already" in text_of(answer)
    assert client_as("technician").post(f"/enquiries/{enquiry.pk}/close/").status_code == 409
    assert Job.objects.count() == 1
    other = services.enquiry_send(revision=revision, answers=ANSWERS, contact=CONTACT)
    assert client_as("counter").post(f"/enquiries/{other.pk}/close/")["Location"] == "/enquiries/"
    with pytest.raises(Conflict, match="closed already"):
        services.enquiry_take(enquiry=other, by=counter, car=car)
    lost = client_as("counter").post(f"/enquiries/{other.pk}/take/", {"car": "9" * 30})
    assert "Choose the car first" in text_of(lost)


def test_those_that_wait_stand_first_the_oldest_on_top(
    revision: SystemRevision, client_as: ClientAs, counter: User
) -> None:
    client = client_as("counter")
    assert "Nobody waits for an answer" in text_of(client.get("/enquiries/"))
    assert client.get("/enquiries/waiting/", headers={"HX-Request": "true"}).content.strip() == b""
    for name in ("First", "Second"):
        services.enquiry_send(revision=revision, answers=ANSWERS, contact=Contact(name=name, phone="1"))
    closed = services.enquiry_send(revision=revision, answers=ANSWERS, contact=Contact(name="Third", phone="1"))
    services.enquiry_close(enquiry=closed, by=counter)
    text = text_of(client.get("/enquiries/"))
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
    assert "(contact erased)" in text_of(page)
    assert "Oda" not in text_of(page)
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
