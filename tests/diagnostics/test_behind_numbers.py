"""Behind every number of the failure patterns are exactly the units that it counts: with cars of which only the year is
known, cars whose history begins late, units fitted later, units mended in place, and cars that came several times."""

import datetime as dt
import re
from collections.abc import Callable
from itertools import takewhile

import pytest
from django.test import Client
from django.utils.html import strip_tags

from diagnostics.engine.faults import MODE_BITS
from diagnostics.models import BenchSheet, ProductionRange, Sighting
from diagnostics.selectors.behind import Counted, units_behind, units_told
from diagnostics.services.learning import learning_run
from tests.diagnostics.fleet import HEADER, a_sighting

pytestmark = pytest.mark.django_db
SYSTEM = "/ranges/rht-trio/"


@pytest.fixture
def mixed(fleet: list[BenchSheet]) -> ProductionRange:
    """The fleet with what makes counting hard; the range that was found in it."""
    for number, sheet in enumerate(fleet):
        car, header = sheet.car, Sighting.objects.get(sheet=sheet, position="BG3")
        if number % 5 == 0:
            car.year_only, car.made_on = True, car.made_on.replace(month=1)
        if number % 4 == 0:  # some failures came before the history begins, some after, some on its first day
            car.known_from = header.on + dt.timedelta(days=(number % 12 // 4 - 1) * 200)
        car.save()
        if number % 3 == 0 and header.failed:
            header.mended = number % 2 == 0
            header.save()
            again = _another(sheet)
            since = None if header.mended else header.on
            seen = a_sighting(again, HEADER[1], "BG3", header.on + dt.timedelta(days=400), "")
            seen.since, seen.revision = since, "b" if since else ""
            seen.save()
            if number % 9 == 0:  # fails once more, the mended one or the later one
                seen = a_sighting(_another(sheet), HEADER[1], "BG3", header.on + dt.timedelta(days=800), "stays-made")
                seen.since, seen.revision = since, "b" if since else ""
                seen.save()
        elif number % 7 == 0:  # the same unit in another mode, of which others were told nothing
            a_sighting(_another(sheet), HEADER[1], "BG3", header.on + dt.timedelta(days=90), "open").save()
        elif number % 11 == 0:
            Sighting.objects.filter(pk=header.pk).update(good=MODE_BITS["unplugged"], failed="")
    other = fleet[1]
    a_sighting(_another(other), "TW-BGA-9999", "BG3", dt.date(2015, 6, 1), "stays-made").save()
    learning_run()
    found = ProductionRange.objects.filter(part=HEADER[1], mode="stays-made", state="proposed").first()
    assert found is not None
    return found


def _another(sheet: BenchSheet) -> BenchSheet:
    return BenchSheet.objects.create(
        job=sheet.job, car=sheet.car, opened_by=sheet.opened_by, opened_at=sheet.opened_at,
        closed_at=sheet.closed_at, sighted=True,
    )  # fmt: skip


def _listed(client: Client, at: str) -> dict[str, int]:
    """units, cars, failures, strip: as the list says them; its rows on all pages are as many as its units."""
    page = client.get(at).content.decode()
    if "No unit of this kind" in page:
        return {"units": 0, "cars": 0, "failures": 0}
    words = re.search(r"<p>(\d+) units? · (\d+) cars? · (\d+) failures?</p>", page)
    assert words, at
    told = dict(zip(("units", "cars", "failures"), map(int, words.groups()), strict=True))
    strip = re.search(r"The strip shows (\d+) of them", page)
    if strip:
        told["strip"] = int(strip[1])
    rows, failed, number = 0, 0, 1
    while True:
        rows += page.count('data-label="Unit"')
        failed += page.count("tag-finding")
        number += 1
        if f"page={number}" not in page:
            break
        page = client.get(f"{at}&page={number}").content.decode()
    assert (rows, failed) == (told["units"], told["failures"])
    return told


def _cells(page: str) -> list[tuple[str, int, int]]:
    """(address, failed, units) of the cells, rows and years of the system page."""
    found = []
    for url, words in re.findall(r'<a href="(cars/\?[^"]*)"><title>([^<]*)</title>', page):
        failed, units = re.search(r"(\d+) of (\d+) failed", words).groups()  # type: ignore[union-attr]
        found.append((url, int(failed), int(units)))
    for words, url in re.findall(r'(\d+ of \d+) failed, [^<]*</span></summary>.*?<a href="(cars/\?[^"]*)"', page, re.S):
        failed, units = words.split(" of ")
        found.append((url, int(failed), int(units)))
    for url, units, failed in re.findall(r'<a href="(cars/\?[^"]*)">\d{4}</a><td>(\d+)<td>(\d+)', page):
        found.append((url, int(failed), int(units)))
    assert len(found) == page.count('href="cars/?') > 20
    return [(SYSTEM + url.replace("&amp;", "&"), failed, units) for url, failed, units in found]


@pytest.mark.parametrize("mode", ["stays-made", "open", ""])
def test_each_number_of_the_strip_and_its_table_has_its_units(
    mixed: ProductionRange, client_as: Callable[[str], Client], mode: str
) -> None:
    client = client_as("parts")
    for url, failed, units in _cells(client.get(SYSTEM, {"mode": mode}).content.decode()):
        told = _listed(client, url)
        assert (told["failures"], told["units" if mode else "strip"]) == (failed, units), url
        assert told["units"] >= units


def test_each_number_of_a_range_has_its_units(mixed: ProductionRange, client_as: Callable[[str], Client]) -> None:
    client = client_as("parts")
    page = client.get(mixed.get_absolute_url()).content.decode()
    links = 0
    for row in re.findall(r"<tr>.*?</tr>", page, re.S):
        urls = [url.replace("&amp;", "&") for url in re.findall(r'href="([^"]*/cars/\?[^"]*)"', row)]
        if not urls:
            continue
        links += len(urls)
        cells = [strip_tags(one) for one in re.findall(r'<td class="num"[^>]*>(.*?)</td>', row)]
        numbers = [int(one) for one in takewhile(str.isdecimal, cells)]  # what was expected is no count
        if len(numbers) == 3:  # cars, units, failed
            assert [_listed(client, urls[0])[one] for one in ("cars", "units", "failures")] == numbers
            assert _listed(client, urls[1])["units"] == numbers[2]
        else:  # a year: units, failed
            assert [_listed(client, urls[0])[one] for one in ("units", "failures")] == numbers
    assert links == page.count("/cars/?") > 10


def test_a_mended_unit_is_listed_once_as_it_failed_first(mixed: ProductionRange) -> None:
    again = Sighting.objects.filter(position="BG3", since=None, failed="", car__sightings__mended=True)
    counted = Counted("rht-trio", ("BG3",), "stays-made", failed=True)
    mended = [one for one in units_behind(counted) if again.filter(car=one["car_id"]).exists()]
    assert len(mended) > 5
    for one in units_told(counted, mended):
        assert one.failures == {"stays-made": one.unit["first_failed"]}
        assert one.last_good is None, "it was seen good only after it was mended"


def test_what_names_no_range_is_told(mixed: ProductionRange, client_as: Callable[[str], Client]) -> None:
    client = client_as("parts")
    for asked, status in ((f"range={mixed.pk}&side=left", 422), ("range=soon", 422), (f"range={mixed.pk + 999}", 404)):
        assert client.get(f"{SYSTEM}cars/?{asked}").status_code == status
    assert client.get(f"/ranges/softbow-hydro/cars/?range={mixed.pk}").status_code == 404
