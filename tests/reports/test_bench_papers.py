"""The papers for the bench: one page each, with what a person at the car needs, and the same as the page shows."""

import re
from datetime import UTC, datetime
from typing import Any

import pypdfium2 as pdfium
import pytest
from django.test import Client

from diagnostics.engine.bench_list import bench_list
from diagnostics.engine.proof_plan import proof_plan
from diagnostics.models import BenchSheet
from diagnostics.selectors import bench_list_of_sheet
from reports.document.bench import BenchPaper, PinCard
from reports.document.draw.bench_list import draw_bench_list
from reports.document.draw.pin_card import draw_pin_card
from shop.models import Job, User
from tests.diagnostics.bench import SUPPLY, add, opened, publish, sound_volts, words
from tests.diagnostics.systems import SLUGS, shipped
from tests.reports.test_draw import pages_of

AT = datetime(2026, 11, 25, 10, 40, tzinfo=UTC)


def paper(slug: str, **more: Any) -> bytes:
    system = shipped(slug)
    work = bench_list(system, proof_plan(system, {}), supply=12.4, **more)
    return draw_bench_list(BenchPaper("Shop", "Arvel Corso", "ZZZ1", "J-1: Stops", system.title, 12.4, AT, work))


@pytest.mark.parametrize("slug", SLUGS)
def test_a_whole_top_to_prove_is_one_page_with_every_sensor(slug: str) -> None:
    pages = pages_of(paper(slug))
    assert len(pages) == 1
    for code, position in shipped(slug).wired().items():
        assert code in pages[0]
        assert position.name in pages[0]


@pytest.mark.parametrize("slug", SLUGS)
def test_a_pin_card_is_one_page_with_every_pin_its_wire_and_both_states(slug: str) -> None:
    system = shipped(slug)
    page, *more = pages_of(draw_pin_card(PinCard("Shop", system, "abc" * 20, AT)))
    assert not more
    for position in system.sensors().values():
        assert position.pin is not None
        assert position.pin.label in page
        assert "/".join(position.pin.colours) in page
    assert f"{system.system}, revision {system.revision}" in page
    assert "never bridge two pins" in page


@pytest.mark.parametrize("draw", ["list", "card"])
def test_all_typefaces_are_embedded(draw: str) -> None:
    pdf = paper("rht-trio") if draw == "list" else draw_pin_card(PinCard("Shop", shipped("rht-trio"), "abc", AT))
    names = set(re.findall(rb"/BaseFont /([^\s/]+)", pdf))
    assert names
    assert all(b"+" in name for name in names), names


def test_the_page_says_so_where_the_top_stands_half_way_and_what_is_owed() -> None:
    page = pages_of(paper("rht-trio", half_way=True, owed=("MM3 Stack cylinder: run a motion.",)))[0]
    assert "half way: bring it to rest by its emergency procedure first" in page
    assert "Still owed after the pins" in page
    assert "MM3 Stack cylinder: run a motion." in page


@pytest.fixture
def sheet(job: Job, tech: User, owner: User) -> BenchSheet:
    publish(owner)
    return opened(job, tech)


@pytest.mark.django_db
def test_page_and_paper_ask_for_the_same_readings(sheet: BenchSheet, client_as: Any) -> None:
    client: Client = client_as("technician")
    page = words(client.get(f"/sheets/{sheet.pk}/bench-list/"))
    answer = client.get(f"/sheets/{sheet.pk}/bench-list.pdf")
    assert answer["Content-Type"] == "application/pdf"
    on_paper = pages_of(answer.content)[0]
    work = bench_list_of_sheet(sheet)
    assert work is not None
    assert work.count > 0
    for pose in work.poses:
        assert pose.moves[-1].split(":")[0] in on_paper
        for one in pose.readings:
            assert f"{one.pin.label}" in on_paper
            assert f"{one.state_words}, {one.due}" in on_paper
            assert f"{one.state_words}, {one.due}" in page
    assert f"{sheet.car.vin}" in on_paper


@pytest.mark.django_db
def test_what_was_read_rightly_is_no_longer_on_the_list(sheet: BenchSheet, tech: User) -> None:
    before = bench_list_of_sheet(sheet)
    assert before is not None
    asked = {(one.code, one.state) for pose in before.poses for one in pose.readings}
    code, state = next((code, state) for code, state in sorted(asked) if sound_volts(sheet, code) and code == "BG1")
    add(sheet, tech, check="pin", position=code, pose=sheet.pose, volts=sound_volts(sheet, code))
    after = bench_list_of_sheet(sheet)
    assert after is not None
    left = {(one.code, one.state) for pose in after.poses for one in pose.readings}
    assert asked - left == {(code, state)}


@pytest.mark.django_db
def test_a_proven_top_has_an_empty_list(sheet: BenchSheet, tech: User) -> None:
    """Carried out as the list says, every reading right, nothing is left."""
    work = bench_list_of_sheet(sheet)
    assert work is not None
    for pose in work.poses:
        for one in pose.readings:
            low = "under" in one.due
            add(sheet, tech, check="pin", position=one.code, pose=dict(pose.pose), volts=0.1 if low else SUPPLY - 0.1)
    for one in work.by_hand:
        add(sheet, tech, check="pin-by-hand", position=one.code, pressed_volts=0.1, released_volts=SUPPLY - 0.1)
    left = bench_list_of_sheet(sheet)
    assert left is not None
    assert (left.count, left.minutes) == (0, 0.0)


@pytest.mark.django_db
def test_a_car_whose_system_nobody_declared_is_told_so(job: Job, tech: User, client_as: Any) -> None:
    sheet = opened(job, tech)
    client: Client = client_as("technician")
    assert "Nobody has declared" in words(client.get(f"/sheets/{sheet.pk}/bench-list/"))
    refused = client.get(f"/sheets/{sheet.pk}/bench-list.pdf")
    assert refused.status_code == 409
    assert "Nobody has declared" in words(refused)


@pytest.mark.django_db
def test_the_pin_card_of_a_system(owner: User, client_as: Any) -> None:
    publish(owner)
    client: Client = client_as("parts")
    answer = client.get("/systems/rht-trio/pin-card.pdf")
    assert answer.status_code == 200
    document = pdfium.PdfDocument(answer.content)
    assert len(document) == 1
    document.close()
    assert client.get("/systems/rht-trio/pin-card.pdf?revision=99").status_code == 404
    assert client.get("/systems/unknown/pin-card.pdf").status_code == 404
