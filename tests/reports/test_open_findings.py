"""What was found on a car and is still open: of its newest certificate, and of sheets besides."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Check
from reports.open_findings import findings_open
from shop.models import Car, Job, User
from tests.reports.test_services import ask_and_issue

pytestmark = pytest.mark.django_db

Enter = Callable[..., Check]
GOOD = {"check": "pin", "position": "BG8", "pose": "open", "volts": 0.05, "supply_volts": 12.4}


def _subjects(car: Car) -> list[tuple[str, str]]:
    return [(one.subject, one.certificate) for one in findings_open(car)]


def test_what_a_sheet_found_is_open_until_it_is_seen_good(car: Car, checked: Job, enter: Enter) -> None:
    assert _subjects(car) == [("Motion trial", ""), ("BG8", "")]
    enter(**GOOD | {"pose": "closed", "volts": 12.2})
    assert ("BG8", "") in _subjects(car), "another pose says nothing of this one"
    enter(**GOOD)
    assert _subjects(car) == [("Motion trial", "")]
    enter(check="motion", motion="open", stops_at=None, lamp="off")
    assert _subjects(car) == [("Motion trial", "")], "the other motion says nothing of this one"
    enter(check="motion", motion="close", stops_at=None, lamp="off")
    assert _subjects(car) == []


def test_work_at_the_position_and_striking_out_close_it(
    car: Car, checked: Job, sheet: BenchSheet, enter: Enter, tech: User
) -> None:
    bench.work_add(job=checked, by=tech, position="BG8", kind="adjust")
    assert _subjects(car) == [("Motion trial", "")]
    bench.check_strike(check=Check.objects.get(kind="motion"), by=tech, why="Wrong car")
    assert _subjects(car) == []
    enter(**GOOD | {"volts": 12.2})
    assert _subjects(car) == [("BG8", "")], "found again after the work"


def test_the_certificate_says_it_where_there_is_one(car: Car, checked: Job, tech: User, enter: Enter) -> None:
    certificate = ask_and_issue(checked, tech)
    found = findings_open(car)
    assert {one.certificate for one in found} == {certificate.number}, "said once, by the certificate"
    assert found[0].weight
    before = len(found)
    bench.work_add(job=checked, by=tech, position="BG8", kind="adjust")
    assert len(findings_open(car)) < before
    enter(check="look", position="MM3", found="leaks")
    assert ("MM3", "") in _subjects(car), "what was seen after the certificate stands beside it"


def test_the_car_file_shows_them_among_the_open_risks(car: Car, checked: Job, client_as: Any) -> None:
    client = client_as("parts")
    address = f"/cars/{car.pk}/findings/"
    assert f'hx-get="{address}"' in client.get(f"/cars/{car.pk}/risks/").content.decode()
    page = client.get(address).content.decode()
    assert "<strong>BG8</strong>" in page
    assert checked.number in page
    part = client.get(address, headers={"HX-Request": "true"}).content.decode()
    assert part.startswith('<div id="car-findings"')


def test_a_car_with_many_checks_costs_no_more_queries(car: Car, checked: Job, tech: User, enter: Enter) -> None:
    ask_and_issue(checked, tech)
    for _time in range(5):
        enter(**GOOD)
    with CaptureQueriesContext(connection) as queries:
        findings_open(car)
    assert len(queries) == 3


def test_a_car_without_findings_says_so(car: Car, client_as: Any) -> None:
    assert (
        "Nothing: what was found was worked on since"
        in client_as("counter").get(f"/cars/{car.pk}/findings/").content.decode()
    )
