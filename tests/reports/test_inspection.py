"""An inspection by plan as people make it: opened, answered, skipped, taken back, and the certificate that waits."""

import io
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from diagnostics import services as bench
from diagnostics.engine.inspection.plan import plan_for
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors import proof_of_job
from diagnostics.services import sheet_open
from reports.commission.models import Commission
from reports.commission.services import CarFacts, commission_take
from reports.document.draw.inspection import plan_words
from reports.evidence import bench_of
from reports.inspection import services
from reports.inspection.models import Inspection, InspectionAnswer
from reports.inspection.selectors import inspection_of, standing_of
from reports.models import Certificate, CertificateState
from reports.selectors import content_of
from reports.services import certificate_ask, certificate_freeze
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, Picture, Stage, TrailEntry, User
from tests.reports import sample
from tests.reports.commissioning import commissioned
from tests.reports.test_inspection_plan import GOOD

pytestmark = pytest.mark.django_db


@pytest.fixture
def inspection(sheet: BenchSheet, job: Job, tech: User) -> Inspection:
    return services.inspection_open(job=job, by=tech)


def say(row: Inspection, by: User, key: str, grade: str, **more: Any) -> InspectionAnswer:
    return services.item_answer(inspection=row, by=by, key=key, grade=grade, entry_id=uuid.uuid4(), **more)


def a_jpeg() -> io.BytesIO:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "#8a3d0c").save(out, "JPEG")
    out.seek(0)
    return out


def skip(row: Inspection, by: User, *keys: str, why: str = "The seller does not allow it") -> list[InspectionAnswer]:
    return services.items_skip(inspection=row, by=by, keys=keys, why=why, entry_id=uuid.uuid4())


def finished(row: Inspection, tech: User, owner: User) -> None:
    """Every item that a person judges is in order, everything else skipped by the owner."""
    for item in plan_for(sample.system()):
        if not item.measured:
            measured = Decimal(15) if item.quantity and item.quantity.needed else None
            say(row, tech, item.key, GOOD[item.key], measured=measured)
    skip(row, owner, *(one.item.key for one in standing_of(row).open_items))


def states(row: Inspection) -> dict[str, str]:
    return {one.item.key: one.state for one in standing_of(row).rows}


def test_a_commission_that_becomes_a_job_inspects_by_plan(counter: User) -> None:
    commission, _token = commissioned()
    facts = CarFacts("Arvel", "Corso T", timezone.localdate().replace(day=1))
    job = commission_take(
        commission=commission, by=counter, vin="0TWAB1CD2E3456780", facts=facts, title="Before a purchase",
        appointment_on=timezone.localdate(),
    )  # fmt: skip
    assert inspection_of(job) is not None
    assert TrailEntry.objects.filter(job=job, kind="inspection.opened").count() == 1


def test_opened_twice_is_one(inspection: Inspection, job: Job, tech: User) -> None:
    assert services.inspection_open(job=job, by=tech) == inspection
    assert Inspection.objects.count() == 1


def test_a_certificate_waits_until_the_plan_is_complete(
    checked: Job, inspection: Inspection, tech: User, owner: User, issued_at_once: Any
) -> None:
    with pytest.raises(ShopError, match=r"is not complete: 3\d items are open, the first one is “Surroundings”"):
        certificate_freeze(job=checked, by=tech)
    assert not Certificate.objects.exists()
    finished(inspection, tech, owner)
    with issued_at_once:
        certificate_ask(job=checked, by=tech)
    found = Certificate.objects.get()
    assert found.state == CertificateState.ISSUED
    content = content_of(found)
    assert len(content.results.plan) == 36
    assert content.ambient == "Noted; Air 15 °C."
    # The skipped sensors and motions carry the statement; a motion that stops fails it all the same.
    assert content.overall.statement == "fail"
    assert {person.name for person in content.inspectors} == {str(tech), str(owner)}


def test_an_inspection_that_was_given_up_holds_no_certificate_up(
    checked: Job, inspection: Inspection, tech: User
) -> None:
    services.inspection_give_up(inspection=inspection, by=tech, why="Only a repair after all")
    certificate, run = certificate_freeze(job=checked, by=tech)
    assert content_of(certificate).results.plan == ()
    assert run is not None
    services.inspection_open(job=checked, by=tech)
    inspection.refresh_from_db()
    assert inspection.is_open


def test_an_answer_is_kept_once_and_the_last_one_counts(inspection: Inspection, tech: User) -> None:
    entry = uuid.uuid4()
    first = services.item_answer(inspection=inspection, by=tech, key="latches", grade="hold", entry_id=entry)
    again = services.item_answer(inspection=inspection, by=tech, key="latches", grade="hold", entry_id=entry)
    assert first == again
    say(inspection, tech, "latches", "stiff", words="Right one")
    assert states(inspection)["latches"] == "finding"


@pytest.mark.parametrize(
    ("key", "grade", "more", "words"),
    [
        ("nonsense", "dry", {}, "no item “nonsense”"),
        ("latches", "dry", {}, "is judged by one of: Engage and hold"),
        ("battery", "ok", {}, "is judged by one of: the bench sheet alone"),
        ("latches", "loose", {}, "Say what was found"),
        ("seals", "dry", {}, "wants a figure with it: Water ran for, in min"),
        ("seals", "dry", {"measured": Decimal(9)}, "expected 10 to 600 min"),
        ("surroundings", "noted", {"measured": Decimal(80)}, "expected -40 to 60 °C"),
        ("latches", "hold", {"words": "x" * 301}, "at most 300 characters"),
    ],
)
def test_an_answer_that_cannot_be_is_one_sentence(
    inspection: Inspection, tech: User, key: str, grade: str, more: dict[str, Any], words: str
) -> None:
    with pytest.raises(ShopError, match=words.replace("(", r"\(")):
        say(inspection, tech, key, grade, **more)
    assert not InspectionAnswer.objects.exists()


def test_a_finding_needs_no_ten_minutes_of_water(inspection: Inspection, tech: User) -> None:
    say(inspection, tech, "seals", "water", words="At once, rear left", measured=Decimal(1))
    assert states(inspection)["seals"] == "finding"


def test_only_the_owner_skips_what_the_statement_depends_on(inspection: Inspection, tech: User, owner: User) -> None:
    with pytest.raises(Refused, match="only the owner"):
        skip(inspection, tech, "linkage", "seals")
    assert not InspectionAnswer.objects.exists()  # none of the two
    skip(inspection, tech, "linkage", "water-traces")
    skip(inspection, owner, "seals")
    assert [states(inspection)[key] for key in ("linkage", "water-traces", "seals")] == ["skipped"] * 3


def test_a_skip_says_why_and_skips_nothing_that_was_seen(inspection: Inspection, tech: User) -> None:
    with pytest.raises(ShopError, match="Say why it is skipped"):
        skip(inspection, tech, "linkage", why=" \0 ")
    say(inspection, tech, "linkage", "none")
    with pytest.raises(Conflict, match="is seen already"):
        skip(inspection, tech, "linkage")
    assert states(inspection)["linkage"] == "done"


def test_skipped_together_and_sent_twice_is_kept_once(inspection: Inspection, tech: User) -> None:
    entry = uuid.uuid4()
    for _time in range(2):
        services.items_skip(
            inspection=inspection, by=tech, keys=("hold:MM1", "hold:MM2"), why="No adapter", entry_id=entry
        )
    assert InspectionAnswer.objects.count() == 2


def test_an_answer_is_struck_out_with_a_reason_and_the_one_before_counts_again(
    inspection: Inspection, tech: User, owner: User
) -> None:
    say(inspection, tech, "latches", "hold")
    wrong = say(inspection, tech, "latches", "loose", words="Wrong car")
    with pytest.raises(ShopError, match="Say why"):
        services.answer_strike(answer=wrong, by=owner, why="")
    services.answer_strike(answer=wrong, by=owner, why="Another car")
    assert states(inspection)["latches"] == "done"
    with pytest.raises(Conflict, match="Another car"):
        services.answer_strike(answer=wrong, by=tech, why="again")
    assert TrailEntry.objects.filter(kind="inspection.struck").get().words == (
        "Struck out in the inspection, “Latches”: Another car"
    )


def test_a_picture_that_shows_it_goes_on_the_certificate(
    checked: Job, inspection: Inspection, tech: User, owner: User, issued_at_once: Any
) -> None:
    say(inspection, tech, "seals", "damp", words="Left corner", upload=a_jpeg())
    kept = Picture.objects.get()
    assert (kept.on_paper, kept.caption) == (True, "Seals and drains, with water: Left corner")
    for item in plan_for(sample.system()):
        if not item.measured and item.key != "seals":
            say(inspection, tech, item.key, GOOD[item.key], measured=Decimal(15) if item.quantity else None)
    skip(inspection, owner, *(one.item.key for one in standing_of(inspection).open_items))
    with issued_at_once:
        certificate_ask(job=checked, by=tech)
    content = content_of(Certificate.objects.get())
    assert [row.picture for row in content.results.plan if row.key == "seals"] == [content.pictures[0].digest]


def test_a_refused_answer_keeps_no_picture(inspection: Inspection, tech: User) -> None:
    with pytest.raises(ShopError, match="Say what was found"):
        say(inspection, tech, "seals", "damp", upload=a_jpeg())
    assert not Picture.objects.exists()


def test_a_picture_of_another_job_shows_nothing_here(inspection: Inspection, job: Job, tech: User) -> None:
    other = Job.objects.create(car=job.car, title="Other", held_since=job.held_since, opened_at=job.opened_at,
                               opened_by=tech)  # fmt: skip
    strange = Picture.objects.create(job=other, by=tech, file="x.jpg", width=1, height=1, at=timezone.now())
    with pytest.raises(ShopError, match="another job"):
        say(inspection, tech, "seals", "damp", words="Left", picture=strange)


def test_a_job_that_is_done_takes_no_answer(inspection: Inspection, job: Job, tech: User) -> None:
    Job.objects.filter(pk=job.pk).update(stage=Stage.DONE, finished_at=timezone.now())
    with pytest.raises(Conflict, match="is done"):
        say(inspection, tech, "latches", "hold")


def test_the_database_keeps_reasons(inspection: Inspection, tech: User) -> None:
    now = timezone.now()
    bare = {"inspection": inspection, "key": "latches", "by": tech, "at": now}
    for wrong in (
        {"grade": "skip"},
        {"grade": "skip", "words": "x", "measured": 1},
        {"grade": "hold", "struck_at": now, "struck_by": tech},
        {"grade": ""},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            InspectionAnswer.objects.create(entry_id=uuid.uuid4(), **bare, **wrong)
    with pytest.raises(IntegrityError), transaction.atomic():
        Inspection.objects.filter(pk=inspection.pk).update(given_up_at=now, given_up_by=tech)


# What is on the screen


def test_the_page_shows_every_item_and_answers_one(
    client_as: Callable[[str], Client], inspection: Inspection, job: Job
) -> None:
    client = client_as("technician")
    page = client.get(inspection.get_absolute_url())
    for item in plan_for(sample.system()):
        assert f'id="item-{item.key.replace(":", "-")}"' in page.text, item.key
    data = {"key": "seals", "grade": "dry", "measured": "12,5", "words": "", "entry_id": str(uuid.uuid4())}
    answered = client.post(reverse("reports:inspection-answer", args=[job.pk]), data, headers={"HX-Request": "true"})
    assert "Dry, drains run; Water ran for 12.5 min." in answered.text
    assert "1 of 36 items" in answered.text
    refused = client.post(reverse("reports:inspection-answer", args=[job.pk]), {**data, "measured": "much"})
    assert refused.status_code == 422
    assert "“much” is no number." in refused.text


def test_without_scripts_the_answer_leads_back_to_its_item(
    client_as: Callable[[str], Client], inspection: Inspection, job: Job
) -> None:
    data = {"key": "latches", "grade": "hold"}
    answered = client_as("technician").post(reverse("reports:inspection-answer", args=[job.pk]), data)
    assert answered["Location"] == f"{inspection.get_absolute_url()}#item-latches"


def test_only_open_items_on_request(client_as: Callable[[str], Client], inspection: Inspection, tech: User) -> None:
    say(inspection, tech, "latches", "hold")
    page = client_as("technician").get(inspection.get_absolute_url(), {"only": "open"})
    assert 'id="item-latches"' not in page.text
    assert 'id="item-linkage"' in page.text


def test_one_takes_back_ones_own_answer_only(
    client_as: Callable[[str], Client], inspection: Inspection, tech: User, owner: User
) -> None:
    own, other = say(inspection, tech, "latches", "hold"), say(inspection, owner, "linkage", "none")
    client = client_as("technician")
    assert client.post(reverse("reports:inspection-strike", args=[own.pk]), {"undo": "yes"}).status_code == 302
    assert client.post(reverse("reports:inspection-strike", args=[other.pk]), {"undo": "yes"}).status_code == 422
    assert [row.struck_at is None for row in InspectionAnswer.objects.order_by("pk")] == [False, True]


def test_the_counter_reads_and_answers_nothing(client_as: Callable[[str], Client], inspection: Inspection) -> None:
    page = client_as("counter").get(inspection.get_absolute_url())
    assert page.status_code == 200
    assert 'name="grade"' not in page.text


def test_a_job_without_a_sheet_says_what_is_missing(client_as: Callable[[str], Client], job: Job, tech: User) -> None:
    services.inspection_open(job=job, by=tech)
    page = client_as("technician").get(reverse("reports:inspection", args=[job.pk]))
    assert "No bench sheet yet" in page.text
    assert "item-seals" in page.text


def test_a_job_that_inspects_nothing_offers_it(client_as: Callable[[str], Client], job: Job) -> None:
    client = client_as("technician")
    assert "is no inspection by plan" in client.get(reverse("reports:inspection", args=[job.pk])).text
    client.post(reverse("reports:inspection-open", args=[job.pk]))
    panel = client.get(reverse("reports:inspection-panel", args=[job.pk]), headers={"HX-Request": "true"})
    assert "To the plan" in panel.text


def test_one_figure_on_panel_page_and_paper(
    client_as: Callable[[str], Client], checked: Job, inspection: Inspection, tech: User, owner: User
) -> None:
    finished(inspection, tech, owner)
    client = client_as("owner")
    panel = client.get(reverse("reports:inspection-panel", args=[checked.pk])).text
    page = client.get(inspection.get_absolute_url()).text
    plan = content_of(certificate_freeze(job=checked, by=owner)[0]).results.plan
    counts = {state: sum(row.state == state for row in plan) for state in ("done", "finding", "skipped")}
    said = "{done} in order, {finding} with a finding, {skipped} skipped".format(**counts)
    assert said in page
    assert said in panel


def test_a_check_made_later_counts_before_the_skip(
    inspection: Inspection, owner: User, enter: Callable[..., Check]
) -> None:
    skip(inspection, owner, "battery")
    enter(check="battery", volts=12.6)
    assert states(inspection)["battery"] == "done"


def test_the_plan_reads_the_same_proof_as_the_bench(
    checked: Job, inspection: Inspection, tech: User, enter: Callable[..., Check]
) -> None:
    bench.work_add(job=checked, by=tech, position="BG3", kind="adjust", words="Trigger moved")
    enter(check="pin-by-hand", position="BG3", pressed_volts=0.05, released_volts=12.2, supply_volts=12.4)
    enter(check="pin", position="BG8", pose="closed", volts=12.2, supply_volts=12.4)
    evidence = bench_of(checked).evidence
    assert evidence is not None
    assert evidence.proof() == proof_of_job(checked)
    assert any(state.made or state.released for state in evidence.proof().values())


def test_a_job_whose_system_changed_goes_on_by_the_new_plan(job: Job, tech: User) -> None:
    row = services.inspection_open(job=job, by=tech)
    assert set(states(row)) == {one.key for one in plan_for(None)}
    say(row, tech, "latches", "hold")
    sheet_open(job=job, by=tech)  # of a car without a declared system
    assert states(row)["latches"] == "done"


def test_an_upload_that_is_no_picture_is_refused(
    client_as: Callable[[str], Client], inspection: Inspection, job: Job
) -> None:
    upload = SimpleUploadedFile("x.jpg", b"no picture")
    data = {"key": "seals", "grade": "damp", "words": "Left", "upload": upload}
    refused = client_as("technician").post(reverse("reports:inspection-answer", args=[job.pk]), data)
    assert refused.status_code == 422
    assert not InspectionAnswer.objects.exists()


def test_the_buyer_follows_how_much_of_the_plan_is_done_and_reads_no_finding_before_its_time(
    client_as: Callable[[str], Client],
    checked: Job,
    inspection: Inspection,
    tech: User,
    owner: User,
    client: Client,
    issued_at_once: Any,
) -> None:
    commission, token = commissioned()
    Commission.objects.filter(pk=commission.pk).update(state="taken", job=checked, appointment_on=timezone.localdate())
    Job.objects.filter(pk=checked.pk).update(stage=Stage.TRACING)
    say(inspection, tech, "seals", "water", words="Rear left")
    address = reverse("reports:commission-follow", args=[token])
    seen = sum(state != "missing" for state in states(inspection).values())
    page = client.get(address)
    assert f"{seen} of 36 items of the inspection plan are done so far." in page.text
    assert "Rear left" not in page.text
    finished(inspection, tech, owner)
    with issued_at_once:
        certificate_ask(job=checked, by=tech)
    page = client.get(address)
    said = plan_words(content_of(Certificate.objects.get()).results.plan)
    assert said in page.text
    assert said in client_as("owner").get(Certificate.objects.get().get_absolute_url()).text
