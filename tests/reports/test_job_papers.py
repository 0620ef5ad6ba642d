"""The job sheet and the work report: what the pages say, on paper, and nothing of anybody else."""

import datetime as dt
import re
import uuid
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pypdfium2 as pdfium
import pytest
import zxingcpp
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics import services as bench
from diagnostics.models import BenchSheet
from diagnostics.selectors import diagnosis_of_sheet, open_suspects, system_of
from parts import services as shelf
from parts.models import Part
from reports.document.compose.findings import RULES
from reports.document.content import Finding, WorkDone
from reports.document.draw.job_sheet import draw_job_sheet
from reports.document.draw.work_report import draw_work_report
from reports.document.plain import PLAIN, plain_words, where_words
from reports.document.sheets import CheckRow, JobSheet, PickRow, SuspectRow, TaskRow, WorkReport
from reports.gather import cautions_of, results_of_job
from reports.inspection import services as inspect
from reports.papers.work_report import jobs_to_report, work_report
from shop import services
from shop.models import Answer, Car, Job, OwnerChange, ShopProfile, Task, TaskPart, User
from shop.services.plans import task_add
from tests.diagnostics.bench import words
from tests.reports.commissioning import commissioned
from tests.reports.test_draw import opened, pages_of
from tests.shop.estimating import sent

AT = datetime(2026, 11, 25, 10, 40, tzinfo=UTC)


def sheet_content(**more: Any) -> JobSheet:
    usual: dict[str, Any] = {
        "shop": "Halden", "number": "J00001", "title": "Closing stops", "url": "http://shop.example/jobs/1/",
        "facts": (("Car", "Halden Brise"),), "vin": "0TWAH5903RT000001", "complaint": "The lid goes up, then nothing.",
        "suspects": (SuspectRow("BG8 never makes", "41 %"),),
        "checks": (CheckRow("Look: BG8 Shells stacked", "", "about 2 min", "It tells most."),),
        "owed": ("BG3 Lid shut: Read its pin made.",), "no_bench": "",
        "tasks": (TaskRow(1, "Trace the fault", "45 min", "Mara", ("Bay 1",), "Prop the lid.", "open"),),
        "parts": (PickRow(2, "TW-BGA-3014", "Switch", "C 4", "BG3", "1 reserved, 1 missing", False),),
        "cautions": ("Never feel for a leak.",), "printed_at": AT,
    }  # fmt: skip
    return JobSheet(**(usual | more))


def report_content(**more: Any) -> WorkReport:
    rule = RULES["pin"]
    usual: dict[str, Any] = {
        "shop": "Halden", "contact": "Gerberstraße 14", "number": "J00001", "title": "Closing stops",
        "facts": (("For", "Ada Quill"),), "vin": "0TWAH5903RT000001", "complaint": "The lid goes up, then nothing.",
        "summary": ("Worked on at 1 place.",), "seen": ("Checked in this job: much.",),
        "put_right": (Finding("put-right", "BG3", "BG3 Lid shut", "BG3 read released.", RULES["put-right"].words),),
        "done": (WorkDone("BG3", "Lid shut", "Replaced", "Contact burnt", AT, "Mara", "TW-1", "TW-2", ("It holds.",)),),
        "found_open": (Finding("major", "BG8", "BG8 Shells stacked", "BG8 reads released.", rule.words),),
        "still_open": ("Planned and not done: Tidy.",), "people": ("Mara",), "by": "Ruth", "printed_at": AT,
    }  # fmt: skip
    return WorkReport(**(usual | more))


def in_order(page: str, *told: str) -> None:
    at = 0
    for one in told:
        found = page.find(one, at)
        assert found >= 0, f"“{one}” is not there after {page[:at][-60:]!r}"
        at = found + len(one)


def test_the_sheet_reads_from_what_is_open_to_the_lines_to_write_on() -> None:
    page, *more = pages_of(draw_job_sheet(sheet_content()))
    assert not more
    in_order(
        page, "J00001", "Closing stops", "Halden Brise", "In the customer’s words", "The lid goes up, then nothing.",
        "Check first", "BG8 never makes (41 % by the checks made)", "Look: BG8 Shells stacked, about 2 min",
        "It tells most.", "Still to be seen after the work", "BG3 Lid shut: Read its pin made.", "Cautions",
        "Never feel for a leak.", "Work plan", "1 Trace the fault", "Bay 1", "Prop the lid.", "Parts to pick",
        "2 × TW-BGA-3014", "Switch", "C 4", "BG3", "1 reserved, 1 missing", "Written at the car", "Odometer, km",
        "Ended",
    )  # fmt: skip


def test_the_code_of_the_sheet_leads_to_the_page_of_its_job() -> None:
    document = pdfium.PdfDocument(draw_job_sheet(sheet_content()))
    picture = document[0].render(scale=3).to_pil()
    document.close()
    assert [one.text for one in zxingcpp.read_barcodes(picture)] == ["http://shop.example/jobs/1/"]


def test_the_report_reads_from_the_complaint_to_what_is_open() -> None:
    page, *more = pages_of(draw_work_report(report_content()))
    assert not more
    in_order(
        page, "Work report", "Ada Quill", "What was said to be wrong", "The lid goes up, then nothing.",
        "How it stands", "Worked on at 1 place.", "What was found and put right", "Lid shut (BG3)",
        "seen in order afterwards",
        "BG3 read released.", "What was done", "25 Nov 2026", "BG3 Lid shut", "Replaced", "Contact burnt",
        "Part taken off: TW-1", "Part fitted: TW-2", "by Mara", "It holds.",
        "What is still open", "Shells stacked (BG8)", "told something wrong", "BG8 reads released.", "Major",
        "Planned and not done: Tidy.", "Worked on or checked by: Mara.", "Made out by Ruth for Halden",
        "It is no invoice",
    )  # fmt: skip


def test_work_that_nothing_was_seen_after_is_said_to_be_that() -> None:
    bare = replace(report_content().done[0], evidence=(), old_part="", new_part="")
    page = pages_of(draw_work_report(report_content(done=(bare,))))[0]
    assert "Nothing was seen at this place after the work." in page
    assert "Part fitted" not in page


def test_findings_of_one_place_and_meaning_stand_together() -> None:
    one = report_content().found_open[0]
    page = pages_of(draw_work_report(report_content(found_open=(one, replace(one, words="By hand too.")))))[0]
    assert page.count("Shells stacked (BG8)") == 1
    in_order(page, "BG8 reads released.", "By hand too.")


def test_every_rule_has_a_plain_sentence_and_an_unknown_one_says_itself() -> None:
    assert set(PLAIN) <= set(RULES)
    for key, rule in RULES.items():
        assert plain_words(Finding(rule.weight, "", "Closing", "", rule.words)) == PLAIN.get(key, rule.words)
    assert plain_words(Finding("minor", "", "Closing", "", "A rule of later days.")) == "A rule of later days."
    assert where_words(Finding("minor", "", "Closing", "", "")) == "Closing"


@pytest.mark.parametrize("draw", ["sheet", "report"])
def test_typefaces_are_embedded_pages_counted_and_the_same_content_gives_the_same_bytes(draw: str) -> None:
    def made() -> bytes:
        if draw == "sheet":
            return draw_job_sheet(sheet_content(tasks=sheet_content().tasks * 60))
        return draw_work_report(report_content(done=report_content().done * 60))

    pdf = made()
    assert pdf == made()
    names = set(re.findall(rb"/BaseFont /([^\s/]+)", pdf))
    assert names
    assert all(b"+" in name for name in names), names
    pages = pages_of(pdf)
    assert len(pages) > 2
    for at, page in enumerate(pages, 1):
        assert f"Page {at} of {len(pages)}" in page
        assert "J00001 · 0TWAH5903RT000001" in page
    with opened(pdf) as document:
        assert len(list(document.get_toc())) >= 4
        assert "J00001 · Closing stops" in document.get_metadata_dict()["Title"]


STRANGE = st.text(max_size=240)


@settings(max_examples=30, deadline=None)
@given(STRANGE, st.text(max_size=140))
def test_no_words_break_the_sheet(strange: str, title: str) -> None:
    task = TaskRow(1, title, strange, strange, (strange, strange), strange, "open")
    part = PickRow(1, strange, strange, strange, strange, strange, False)
    content = sheet_content(
        title=title, shop=title, complaint=strange * 10, suspects=(SuspectRow(strange, "41 %"),) * 3,
        checks=(CheckRow(strange, strange, strange, strange),) * 4, owed=(strange,), tasks=(task,) * 9,
        parts=(part,) * 9,
    )  # fmt: skip
    assert pages_of(draw_job_sheet(content))


@settings(max_examples=30, deadline=None)
@given(STRANGE, st.text(max_size=140))
def test_no_words_break_the_report(strange: str, title: str) -> None:
    found = Finding("major", strange, strange, strange, strange)
    done = WorkDone(strange, strange, strange, strange * 9, AT, title, strange, strange, (strange, strange))
    content = report_content(
        title=title, shop=title, complaint=strange * 10, summary=(strange,), put_right=(found,) * 3, done=(done,) * 3,
        found_open=(found,) * 3, still_open=(strange,), people=(title,), by=title, contact=strange,
    )  # fmt: skip
    assert pages_of(draw_work_report(content))


@pytest.mark.parametrize("draw", ["sheet", "report"])
def test_a_long_title_leaves_the_number_of_the_page_alone(draw: str) -> None:
    """Foot and head are one line: what is too long ends in dots."""
    long = "Closing stops and nobody knows why " * 4
    made = (
        draw_job_sheet(sheet_content(title=long, tasks=sheet_content().tasks * 60))
        if draw == "sheet"
        else draw_work_report(report_content(shop=long, done=report_content().done * 60))
    )
    with opened(made) as document:
        page = document[1].get_textpage()
        width, height = document[1].get_size()
        head = page.get_text_bounded(0, height - 60, width, height)
        assert head.strip().endswith("…")
        assert page.get_text_bounded(width - 40, 0, width, height).strip() == ""


def test_a_name_from_right_to_left_is_said_to_lack_its_letters() -> None:
    assert "■ stands for a letter" in pages_of(draw_work_report(report_content(facts=(("For", "דוד"),))))[0]
    assert "■ stands for a letter" in pages_of(draw_job_sheet(sheet_content(complaint="دائم")))[0]


def paper(client: Client, job: Job, which: str) -> str:
    answer = client.get(f"{job.get_absolute_url()}{which}.pdf")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert "no-store" in answer["Cache-Control"]
    return " ".join(pages_of(answer.content))


@pytest.mark.django_db
def test_the_sheet_says_what_the_pages_of_the_job_say(
    checked: Job, tech: User, owner: User, client_as: Callable[[str], Client]
) -> None:
    client = client_as("technician")
    task_add(job=checked, by=tech, title="Change the switch", planned_minutes=35)
    task = Task.objects.get()
    Task.objects.filter(pk=task.pk).update(person=tech, caution="Prop the lid first.", blocked_note="key is missing")
    TaskPart.objects.create(task=task, name="Clip", quantity=3)
    lead = TaskPart.objects.create(task=task, name="Lead", part="TW-LEA-0001")
    asked = shelf.part_add(by=owner, number="TW-LEA-0001", name="Lead")
    shelf.need_add(job=checked, part=asked, by=tech, task_part=lead)
    switch = shelf.part_add(by=owner, number="TW-BGD-3302", name="Switch: shells")
    Part.objects.filter(pk=switch.pk).update(place="C 4")
    shelf.need_add(job=checked, part=switch, by=tech, position="BG8")
    on_paper = paper(client, checked, "job-sheet")
    sheet = BenchSheet.objects.get()
    diagnosis = diagnosis_of_sheet(sheet)
    assert diagnosis is not None
    suspects = open_suspects(diagnosis)
    assert suspects
    live = words(client.get(sheet.get_absolute_url()))
    for one in suspects[:5]:
        told = f"{round(100 * one.probability)} %"
        assert f"{one.words} ({told} by the checks made)" in on_paper
        assert one.words in live
        assert told in live
    assert diagnosis.next_checks[0].why in on_paper
    assert sheet.revision is not None
    for caution in cautions_of(system_of(sheet.revision)):
        assert caution in on_paper
    in_order(on_paper, "Change the switch", "key is missing", "Prop the lid first.", "35 min", "tech")
    in_order(on_paper, "1 × TW-BGD-3302", "Switch: shells", "C 4", "BG8", "1 missing")
    in_order(on_paper, "3 × Clip", "in the plan, not asked for")
    assert (
        on_paper.partition("Parts to pick")[2].count("TW-LEA-0001") == 1
    )  # asked for already: the plan does not name it again
    assert checked.car.vin in on_paper
    assert "Ada Quill" not in on_paper  # whose car it is matters at the counter


@pytest.mark.django_db
def test_the_report_says_what_the_certificate_would_say_of_the_same_job(
    checked: Job, tech: User, owner: User, client_as: Callable[[str], Client], enter: Callable[..., Any]
) -> None:
    bench.work_add(job=checked, by=tech, position="BG8", kind="replace", part="TW-BGD-3302", serial="S1", words="Burnt")
    enter(check="pin-by-hand", position="BG8", pressed_volts=0.05, released_volts=12.2, supply_volts=12.4)
    services.odometer_add(car=checked.car, by=tech, km=118_420, read_on=timezone.localdate())
    found = results_of_job(checked)
    on_paper = paper(client_as("technician"), checked, "work-report")
    assert found.findings
    for one in found.findings:
        assert one.words in on_paper
        assert where_words(one) in on_paper
    row = found.work[0]
    in_order(on_paper, f"BG8 {row.name}", "Replaced", "Burnt", "Part fitted: TW-BGD-3302, serial S1", "by tech")
    for said in row.evidence:
        assert said in on_paper
    assert row.evidence
    assert "118,420 km on" in on_paper
    in_order(on_paper, "For Ada Quill", "The lid goes up, then nothing.", "Worked on at 1 place.")
    assert "Closing, when last tried on" in on_paper
    assert "EUR" not in on_paper


@pytest.mark.django_db
def test_what_was_declined_and_what_is_planned_stands_open(job: Job, counter: User, tech: User) -> None:
    version, _token = sent(job, counter)
    first, second = version.lines.order_by("number")
    services.answers_keep(
        version=version, answers={first.pk: Answer.APPROVED, second.pk: Answer.DECLINED}, name="Ada Quill"
    )
    task_add(job=job, by=counter, title="Prove the lid.", planned_minutes=20)
    found = work_report(jobs_to_report().get(), tech)
    assert found.still_open[-2:] == ("Planned and not done: Prove the lid.", "Offered and declined: Lid switch.")


@pytest.mark.django_db
def test_nobody_elses_data_stand_on_the_report(
    job: Job, car: Car, counter: User, owner: User, client_as: Callable[[str], Client]
) -> None:
    """The car is sold on: the job stays its customer's; another car's and another job's words stay away."""
    later = services.customer_create(by=counter, name="Bela Novak", phone="555 0199")
    Job.objects.filter(pk=job.pk).update(opened_at=timezone.now() - dt.timedelta(days=9))
    OwnerChange.objects.create(
        car=car, earlier=car.owner, later=later, on=timezone.localdate() - dt.timedelta(days=3),
        at=timezone.now(), by=owner,
    )  # fmt: skip
    Car.objects.filter(pk=car.pk).update(owner=later)
    other = services.job_open(car=car, by=counter, title="Service", complaint="It drips on my daughter.")
    earlier, later_paper = (paper(client_as("owner"), one, "work-report") for one in (job, other))
    assert "For Ada Quill" in earlier
    assert "For Bela Novak" in later_paper
    for theirs, foreign in ((earlier, ("Bela", "drips", "555")), (later_paper, ("Ada", "lid goes up", "555"))):
        assert not [one for one in foreign if one in theirs]


@pytest.mark.django_db
def test_the_buyer_of_a_commission_is_not_named(job: Job, tech: User) -> None:
    commission, _token = commissioned()
    type(commission).objects.filter(pk=commission.pk).update(
        state="taken", job=job, appointment_on=timezone.localdate()
    )
    facts = dict(work_report(jobs_to_report().get(), tech).facts)
    assert facts["For"] == f"Buyer of commission {commission.number}"


@pytest.mark.django_db
def test_a_job_without_a_top_system_and_with_nothing_done(
    job: Job, client_as: Callable[[str], Client], shop_profile: ShopProfile
) -> None:
    Car.objects.update(system="")
    client = client_as("counter")
    on_sheet = paper(client, job, "job-sheet")
    assert "The top system of this car is not declared, so no check is named here." in on_sheet
    in_order(on_sheet, "Work plan", "Nothing is planned yet.", "Parts to pick", "None are asked for.")
    assert "Hands, hair and helpers clear" in on_sheet
    on_report = paper(client, job, "work-report")
    in_order(
        on_report, "Nothing was checked and nothing was repaired in this job so far.", "What was done", "Nothing.",
        "nothing to judge it by",
    )  # fmt: skip


@pytest.mark.django_db
def test_free_readings_of_a_top_that_nobody_declared_are_told_and_not_judged(
    job: Job, tech: User, client_as: Callable[[str], Client]
) -> None:
    Car.objects.update(system="")
    sheet = bench.sheet_open(job=Job.objects.select_related("car").get(), by=tech)
    bench.check_add(
        sheet=sheet, by=tech, entry_id=uuid.uuid4(),
        observation={"check": "pin", "connector": "XG1", "number": 1, "volts": 0.08, "supply_volts": 12.6},
    )  # fmt: skip
    on_report = paper(client_as("technician"), job, "work-report")
    assert "0.08 V" in on_report
    assert "Nothing that was found is still open" not in on_report


@pytest.mark.django_db
@pytest.mark.parametrize("which", ["job-sheet", "work-report"])
def test_queries_do_not_grow_with_the_job(
    which: str, checked: Job, tech: User, owner: User, client_as: Callable[[str], Client]
) -> None:
    def add_to_it(number: int) -> None:
        task_add(job=checked, by=tech, title=f"Task {number}", planned_minutes=35)
        TaskPart.objects.create(task=Task.objects.latest("pk"), name="Clip")
        seal = shelf.part_add(by=owner, number=f"TW-SEA-000{number}", name="Seal")
        shelf.need_add(job=checked, part=seal, by=tech)

    def asked() -> int:
        client = client_as("technician")
        paper(client, checked, which)
        with CaptureQueriesContext(connection) as queries:
            paper(client, checked, which)
        return len(queries)

    add_to_it(0)
    few = asked()
    for number in range(1, 6):
        add_to_it(number)
    assert asked() == few


@pytest.mark.django_db
def test_the_page_of_the_job_offers_its_papers_to_whoever_may_have_them(
    job: Job, client_as: Callable[[str], Client]
) -> None:
    for role, offered in (("technician", True), ("counter", True), ("owner", True), ("parts", False)):
        page = client_as(role).get(job.get_absolute_url()).content.decode()
        for which in ("job-sheet", "work-report"):
            at = f"{job.get_absolute_url()}{which}.pdf"
            assert (f'href="{at}"' in page) is offered
            assert client_as(role).get(at).status_code == (200 if offered else 403)


def test_a_work_report_tells_what_was_found_by_the_plan_before_it_is_complete(
    checked: Job, tech: User, owner: User
) -> None:
    row = inspect.inspection_open(job=checked, by=tech)
    inspect.item_answer(
        inspection=row, by=tech, key="leaks", grade="drops", words="Union of MM3", entry_id=uuid.uuid4()
    )
    (leak,) = [one for one in results_of_job(checked).findings if one.subject == "Leaks"]
    assert (leak.weight, leak.words) == ("critical", "Drops or runs; Union of MM3.")
    inspect.inspection_give_up(inspection=row, by=owner, why="Only a repair")
    assert not [one for one in results_of_job(checked).findings if one.subject == "Leaks"]
