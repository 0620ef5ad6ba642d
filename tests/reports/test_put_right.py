"""What it would cost to put right what was found: the shop’s own prices, the same on screen, on paper and as data."""

import json
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from diagnostics import selectors as bench
from diagnostics.engine.faults import REPLACE_MINUTES
from diagnostics.models import BenchSheet, Check
from parts.models import Offer, Part
from reports import services as certificates
from reports.document.content import PutRight, PutRightRow, from_json
from reports.document.draw.put_right import cost_words
from reports.models import Certificate
from reports.tasks import certificate_issue_task
from shop.models import CostKind, Estimate, EstimateLine, EstimateVersion, Job, ShopProfile, User, VersionState
from shop.planning.money import Priced, totals
from tests.parts.shelving import a_part, a_supplier
from tests.reports import sample
from tests.reports.test_draw import pages_of

SYSTEM = sample.system()
CYLINDER = SYSTEM.positions["MM4"].part


@pytest.fixture
def leaking(checked: Job, enter: Callable[..., Check]) -> Job:
    enter(check="look", position="MM4", found="leaks")
    return checked


def issued(job: Job, by: User) -> Certificate:
    certificate, run = certificates.certificate_ask(job=job, by=by)
    assert run is not None
    certificate_issue_task(str(run.pk), certificate.pk)
    certificate.refresh_from_db()
    return certificate


def costs_of(certificate: Certificate) -> PutRight:
    found = from_json(json.dumps(certificate.content)).put_right
    assert found is not None
    return found


def line(job: Job, by: User, price: str, *, words: str, state: str = VersionState.SENT, currency: str = "EUR") -> None:
    estimate = Estimate.objects.create(
        job=job, number=job.estimates.count() + 1, title="Estimate", made_at=timezone.now(), made_by=by
    )
    sent = None if state == VersionState.DRAFT else timezone.now()
    version = EstimateVersion.objects.create(
        estimate=estimate, version=1, state=state, currency=currency, sent_at=sent, sent_by=by if sent else None
    )
    EstimateLine.objects.create(
        version=version, number=1, kind=CostKind.PART, words=words, quantity=1, unit="piece",
        unit_price=Decimal(price), tax_percent=Decimal(20),
    )  # fmt: skip


def row_of(costs: PutRight, position: str) -> Any:
    (row,) = [one for one in costs.rows if one.position == position and one.part]
    return row


def test_labour_is_the_trades_time_at_the_shops_rate(leaking: Job, tech: User) -> None:
    ShopProfile.objects.update(hourly_rate=Decimal("97.30"), tax_percent=Decimal(19))
    costs = costs_of(issued(leaking, tech))
    row, place = row_of(costs, "MM4"), SYSTEM.positions["MM4"]
    assert row.hours == round(Decimal(str(REPLACE_MINUTES[place.kind] + place.minutes)) / 60, 2)
    assert row.labour == (row.hours * Decimal("97.30")).quantize(Decimal("0.01"))
    diagnosis = bench.diagnosis_of_sheet(leaking.sheets.get())
    assert diagnosis is not None
    assert row.chance == round(diagnosis.repairs["MM4 replace"], 3)
    amounts = [one for row in costs.rows for one in (row.labour, row.part_price) if one is not None]
    assert costs.most == totals(Priced(Decimal(1), one, Decimal(19)) for one in amounts).gross
    likely = [row.labour for row in costs.rows if row.chance >= 0.5]
    assert costs.least == totals(Priced(Decimal(1), one, Decimal(19)) for one in likely).gross
    assert Decimal(0) < costs.least < costs.most
    assert [row.chance for row in costs.rows] == sorted((row.chance for row in costs.rows), reverse=True)


def test_a_part_costs_what_a_customer_was_asked_last(leaking: Job, tech: User, parts_user: User) -> None:
    assert row_of(costs_of(issued(leaking, tech)), "MM4").part_price is None
    part = Part.objects.filter(number=CYLINDER).first() or a_part(parts_user, CYLINDER)
    Offer.objects.create(part=part, supplier=a_supplier(parts_user), price=Decimal("210.00"), preferred=True)
    Certificate.objects.all().delete()
    paid = row_of(costs_of(issued(leaking, tech)), "MM4")
    assert (paid.part_price, paid.price_from) == (Decimal("210.00"), "paid")
    Certificate.objects.all().delete()
    line(leaking, tech, "300.00", words=f"Cylinder {CYLINDER}")
    line(leaking, tech, "340.00", words=f"Cylinder ({CYLINDER.lower()}), left")
    line(leaking, tech, "1.00", words=f"{CYLINDER}", state=VersionState.DRAFT)
    line(leaking, tech, "2.00", words=f"{CYLINDER}", currency="CHF")
    line(leaking, tech, "3.00", words=f"{CYLINDER}-B")
    asked = row_of(costs_of(issued(leaking, tech)), "MM4")
    assert (asked.part_price, asked.price_from) == (Decimal("340.00"), "asked")


def test_screen_paper_and_data_say_the_same(leaking: Job, tech: User, client_as: Any) -> None:
    line(leaking, tech, "1340.00", words=f"Cylinder {CYLINDER}")
    certificate = issued(leaking, tech)
    costs = costs_of(certificate)
    with certificate.file.open("rb") as file:
        paper = " ".join(pages_of(file.read()))
    page = " ".join(client_as("technician").get(certificate.get_absolute_url()).content.decode().split())
    sums = f"About {costs.least:,.2f} EUR if only what is likelier than not has to be done, {costs.most:,.2f} EUR"
    for said in (sums, f"{CYLINDER}, 1,340.00 EUR", "It is no offer; ask for an estimate."):
        assert said in paper
        assert said in page
    for row in costs.rows:
        assert f"{row.hours} h, {row.labour:,.2f} EUR" in paper
        assert f"{row.hours} h, {row.labour:,.2f} EUR" in page
    unknown = ", ".join(row.part for row in costs.without_price)
    assert f"Not in the sums, since no price is known: {unknown}." in page


def test_another_price_is_no_other_certificate(leaking: Job, tech: User) -> None:
    first = issued(leaking, tech)
    ShopProfile.objects.update(hourly_rate=Decimal(500))
    assert issued(leaking, tech) == first


def test_where_no_repair_is_likely_no_lower_sum_is_named() -> None:
    at = timezone.localdate()
    row = PutRightRow("BG7", "Mend the wire", 0.3, Decimal("0.50"), Decimal("45.00"))
    costs = PutRight(at, "EUR", Decimal(90), Decimal(20), (row,), least=Decimal(0), most=Decimal("54.00"))
    assert cost_words(costs).startswith("At most about 54.00 EUR, tax included")
    assert "0.00 EUR if" not in cost_words(costs)


def test_where_nothing_is_open_nothing_is_said(
    job: Job, tech: User, sheet: BenchSheet, enter: Callable[..., Check]
) -> None:
    enter(check="look", position="MM4", found="nothing")
    certificate = issued(job, tech)
    assert certificate.content["put_right"] is None
    with certificate.file.open("rb") as file:
        assert "cost to put right" not in " ".join(pages_of(file.read()))


def test_what_no_repair_stands_for_is_named(checked: Job, tech: User, enter: Callable[..., Check]) -> None:
    costs = costs_of(issued(checked, tech))
    told = {row.position for row in costs.rows}
    content = from_json(json.dumps(Certificate.objects.get().content))
    left = [one.subject for one in content.results.open_findings() if one.position not in told]
    assert set(costs.unpriced) == set(left)
    assert left, "a motion that stops has no repair of its own"
