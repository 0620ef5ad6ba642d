"""The list of entries shows the numbers by which sentences name them."""

import datetime as dt
import re
from typing import Any

from django.utils import timezone

from diagnostics.models import BenchSheet, Check
from shop.models import User
from tests.diagnostics.bench import SUPPLY, add, post_check, words


def listed(page: str) -> dict[str, int]:
    """Key of an entry -> its number in the list."""
    entries = page[page.index('id="entries"') :]
    rows = re.findall(r'<li[^>]* id="check-(\d+)">(.*?)</li>', entries, re.DOTALL)
    numbers = {key: re.search(r"Entry (\d+)", row) for key, row in rows}
    return {key: int(found[1]) for key, found in numbers.items() if found}


def test_what_disagrees_is_found_in_the_list_by_its_number(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    def read(volts: float, *, ignition: bool = True) -> str:
        pose, supply = dict(sheet.pose), SUPPLY
        seen = {"check": "pin", "position": "BG3", "pose": pose, "volts": volts, "supply_volts": supply}
        return str(add(sheet, tech, **seen, ignition=ignition).pk)

    add(sheet, tech, check="battery", volts=12.6)
    first, off, last = read(0.1), read(12.5, ignition=False), read(12.5)
    page = words(client_as("technician").get(f"/sheets/{sheet.pk}/"))
    assert "Entries 2 and 3 contradict each other" in page
    numbers = listed(page)
    assert (numbers[first], numbers[last]) == (2, 3)
    assert off not in numbers, "what is no evidence is in no sentence"


def test_an_entry_that_is_struck_out_hands_its_number_on(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    client = client_as("technician")
    struck = add(sheet, tech, check="battery", volts=12.6)
    click = add(sheet, tech, check="click", position="BG3", heard=True)
    assert listed(words(client.get(f"/sheets/{sheet.pk}/"))) == {str(struck.pk): 1, str(click.pk): 2}
    client.post(f"/checks/{struck.pk}/strike/", {"why": "wrong car"})
    assert listed(words(post_check(client, sheet, check="battery", volts="12.5")))[str(click.pk)] == 1


def test_an_entry_of_another_day_says_which(sheet: BenchSheet, tech: User, client_as: Any) -> None:
    today = add(sheet, tech, check="battery", volts=12.6)
    before = add(sheet, tech, check="click", position="BG3", heard=True)
    Check.objects.filter(pk=before.pk).update(at=dt.datetime(2026, 1, 9, 15, 4, tzinfo=dt.UTC))
    page = words(client_as("technician").get(f"/sheets/{sheet.pk}/"))
    entries = page[page.index('id="entries"') :]
    assert f">{timezone.localtime(today.at):%H:%M}<" in entries
    assert f">9 Jan 2026, {timezone.localtime(Check.objects.get(pk=before.pk).at):%H:%M}<" in entries
