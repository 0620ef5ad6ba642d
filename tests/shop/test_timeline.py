"""One timeline over all years and owners of a car: what happened stands on its day, whenever it was written down."""

import datetime as dt
import re
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from shop import services
from shop.models import Car, Job, Stage, TrailEntry, User
from tests.shop.estimating import drafted, sent

pytestmark = pytest.mark.django_db


def _at(year: int, month: int = 5) -> dt.datetime:
    return dt.datetime(year, month, 1, 12, tzinfo=dt.UTC)


def _entries(car: Car, years: range) -> None:
    for year in years:
        for month in range(1, 11):
            TrailEntry.objects.create(
                at=_at(year, month), car=car, kind="sheet.opened", words=f"Sheet {year}-{month:02d}."
            )


def _brought(car: Car, by: User, title: str, year: int) -> Job:
    job = services.job_open(car=car, by=by, title=title)
    Job.objects.filter(pk=job.pk).update(
        reference=f"R-{year}", opened_at=_at(year), finished_at=_at(year, 6), stage=Stage.GONE
    )
    return job


def _words(client: Client, address: str) -> list[str]:
    page = client.get(address, headers={"HX-Request": "true", "HX-Target": "trail"}).content.decode()
    return re.findall(r'<h3>(\d{4})</h3>|<span class="words">(.*?)</span>', page)  # type: ignore[return-value]


def test_years_stand_over_what_happened_in_them_each_once(car: Car, client_as: Any) -> None:
    _entries(car, range(2019, 2022))
    told = _words(client_as("parts"), f"/cars/{car.pk}/?only=checks")
    years = [year for year, _entry in told if year]
    assert years == ["2021", "2020", "2019"]
    assert told[0] == ("2021", "")
    assert told[1] == ("", "Sheet 2021-10.")


def test_a_hand_over_and_a_brought_job_stand_on_their_own_days(car: Car, tech: User, client_as: Any) -> None:
    _entries(car, range(2019, 2021))
    services.owner_change(car=car, to=None, on=dt.date(2019, 7, 15), by=tech)
    job = _brought(car, tech, "Old seal", 2017)
    client: Client = client_as("parts")
    told = [entry or year for year, entry in _words(client, f"/cars/{car.pk}/")]
    at = told.index("Went over to the next owner.")
    assert told[at - 1 : at + 2] == ["Sheet 2019-08.", "Went over to the next owner.", "Sheet 2019-07."]
    assert told.count("Went over to the next owner.") == 1
    assert told[-3:] == ["2017", f"{job.number} finished.", f"{job.number} opened: Old seal."]
    jobs = [entry for _year, entry in _words(client, f"/cars/{car.pk}/?only=jobs") if entry]
    assert f"{job.number} finished." in jobs
    assert "Went over to the next owner." not in jobs
    assert "Went over to the next owner." in str(_words(client, f"/cars/{car.pk}/?only=car"))
    assert "Went over" not in str(_words(client, f"/cars/{car.pk}/?only=checks"))


def test_over_all_pages_each_thing_is_told_once_and_in_order(car: Car, tech: User, client_as: Any) -> None:
    _entries(car, range(2012, 2022))
    for year in range(2008, 2024):
        _brought(car, tech, f"Of {year}", year)
    ada = car.owner
    for year, to in ((2015, None), (2016, ada), (2019, None)):
        services.owner_change(car=car, to=to, on=dt.date(year, 6, 1), by=tech)
    client: Client = client_as("parts")
    first = client.get(f"/cars/{car.pk}/").context
    pages = [
        client.get(f"/cars/{car.pk}/?page={number}").context["timeline"]
        for number in range(1, first["page"].paginator.num_pages + 1)
    ]
    entries = [entry for page in pages for entry in page]
    assert len(pages) == 4
    assert [one.at for one in entries] == sorted((one.at for one in entries), reverse=True)
    assert sum(one.words.endswith(" finished.") for one in entries) == 16
    assert sum(one.words.startswith("Sheet") for one in entries) == 100
    assert sum(one.words.startswith("Went over") for one in entries) == 3
    assert len({(one.at, one.words) for one in entries}) == len(entries)


def test_a_later_page_costs_one_query_more_and_no_page_grows(car: Car, tech: User, client_as: Any) -> None:
    client: Client = client_as("owner")

    def cost(number: int) -> int:
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/cars/{car.pk}/?page={number}")
        return len(queries)

    few = cost(1)
    _entries(car, range(2014, 2020))
    for year in range(2010, 2016):
        _brought(car, tech, "x", year)
    assert (cost(1), cost(2)) == (few, few + 1)
    assert few + 1 < 12


def test_what_the_earlier_owner_was_offered_and_answered_does_not_go_along(
    car: Car, job: Job, counter: User, client_as: Any
) -> None:
    version, _token = sent(job, counter)
    services.answers_keep(version=version, answers={line.pk: "approved" for line in version.lines.all()}, name="Ada Q.")
    outlay = services.outlay_add(
        job=job, by=counter, kind="part", words="Lid switch", quantity=Decimal(1), unit="piece",
        unit_price=Decimal("44.00"), tax_percent=Decimal(20),
    )  # fmt: skip
    services.outlay_strike(outlay=outlay, by=counter)
    told = " ".join(TrailEntry.objects.filter(car=car).values_list("words", flat=True))
    assert "Estimate, version 1 sent" in told
    for other in ("Ada Q.", "EUR", "44.00", "180.00", "216.00"):
        assert other not in told, other
    client: Client = client_as("counter")
    assert "approved 2, declined 0" in str(_words(client, f"/cars/{car.pk}/"))

    # Entries of before this rule named both.
    TrailEntry.objects.create(at=_at(2021), car=car, job=job, kind="estimate.answered", words="Ada Q.: EUR 216.00")
    Job.objects.filter(pk=job.pk).update(opened_at=_at(2020))
    ben = services.customer_create(by=counter, name="Ben Roe")
    services.owner_change(car=car, to=ben, on=dt.date(2022, 3, 1), by=counter)
    own = services.job_open(car=car, by=counter, title="Seal")
    drafted(own, counter)
    told = str(_words(client, f"/cars/{car.pk}/"))
    assert "Line written: Lid switch" in told, "that of the owner of today"
    for other in ("Ada Q.", "EUR", "approved 2", "Struck"):
        assert other not in told, other
    assert "approved 2, declined 0" in client.get(f"/jobs/{job.pk}/").content.decode()
