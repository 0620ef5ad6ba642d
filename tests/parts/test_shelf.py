"""The shelf: what the catalogue says of each part, and who may change it."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from diagnostics.models import Unit
from diagnostics.services import system_publish
from parts import selectors, services
from parts.models import Fit, Part
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, TrailEntry, User
from shop.services import car_create

HEADER_SWITCH = "TW-BGA-3014"  # at BG1 and BG2 of rht-trio
TODAY = dt.date(2026, 6, 1)


@pytest.fixture
def system(owner: User) -> None:
    path = settings.FIXTURES_DIR / "systems" / "rht-trio.yaml"
    system_publish(text=path.read_text(encoding="utf-8"), source=path.name, by=owner)


@pytest.fixture
def part(system: None, parts_user: User) -> Part:
    part = services.part_add(by=parts_user, number=HEADER_SWITCH, name="Header latch switch")
    services.fit_add(by=parts_user, part=part, system="rht-trio", position="BG1")
    services.fit_add(by=parts_user, part=part, system="rht-trio", position="bg2")
    return part


def _row(number: str = HEADER_SWITCH) -> selectors.ShelfRow:
    return next(row for row in selectors.shelf(today=TODAY).rows if row.part.number == number)


def test_untouched_positions_count_as_their_original_part(part: Part, car: Car) -> None:
    assert (_row().fitted, _row().replaced) == (2, 0)


def test_a_unit_that_came_off_counts_as_replaced_for_twelve_months(part: Part, car: Car) -> None:
    Unit.objects.create(car=car, position="BG1", part=HEADER_SWITCH, removed_on=TODAY - dt.timedelta(days=364))
    Unit.objects.create(car=car, position="BG1", part="TW-BGA-3015", fitted_on=TODAY - dt.timedelta(days=364))
    Unit.objects.create(car=car, position="BG2", part=HEADER_SWITCH, removed_on=TODAY - dt.timedelta(days=365))
    Unit.objects.create(car=car, position="BG2", part=HEADER_SWITCH, fitted_on=TODAY - dt.timedelta(days=365))
    assert (_row().fitted, _row().replaced) == (1, 1)


def test_cars_of_other_systems_count_for_nothing(part: Part, counter: User) -> None:
    car_create(
        by=counter,
        vin="0TWAH5907RT000003",
        maker="Halden",
        model="Brise",
        made_on=dt.date(2015, 1, 1),
        system="some-other",
    )
    assert _row().fitted == 0


def test_where_a_part_fits_is_said_in_words(part: Part) -> None:
    (fitting,) = _row().fittings
    assert fitting.system == "Retractable hardtop of three shells, hydraulic"
    assert fitting.positions == (("BG1", "Header latch locked"), ("BG2", "Header latch open"))


@pytest.mark.parametrize(
    ("query", "found"), [("3014", True), ("header", True), ("rht", True), ("bg2", True), ("bg", False), ("pump", False)]
)
def test_find_by_number_name_system_or_position(part: Part, query: str, found: bool) -> None:
    shelf = selectors.shelf(query=query)
    # "bg" is in the number TW-BGA-3014, so only a position has to be named in full.
    assert bool(shelf.rows) == (found or query == "bg")
    assert not shelf.empty


def test_the_shelf_takes_the_same_queries_for_one_part_as_for_thirty(
    part: Part, django_assert_num_queries: Callable[..., object]
) -> None:
    selectors.shelf()
    parts = Part.objects.bulk_create(Part(number=f"TW-XXX-{n:04d}", name="Clip") for n in range(30))
    Fit.objects.bulk_create(Fit(part=one, system="rht-trio", position="MB1") for one in parts)
    with django_assert_num_queries(6):  # type: ignore[operator]
        assert len(selectors.shelf().rows) == 31


def test_a_long_catalogue_is_cut_and_says_how_much_is_left_out(db: None) -> None:
    Part.objects.bulk_create(Part(number=f"TW-XXX-{n:04d}", name="Clip") for n in range(selectors.SHELF_ROWS + 3))
    shelf = selectors.shelf()
    assert (len(shelf.rows), shelf.left_out) == (selectors.SHELF_ROWS, 3)


def test_only_parts_and_owner_write_the_catalogue(
    part: Part, tech: User, counter: User, parts_user: User, owner: User
) -> None:
    for number, user in enumerate((parts_user, owner)):
        services.part_add(by=user, number=f"TW-ZZZ-{number}", name="Clip")
    for user in (tech, counter):
        with pytest.raises(Refused):
            services.part_add(by=user, number="TW-ZZZ-9", name="Clip")
        with pytest.raises(Refused):
            services.fit_add(by=user, part=part, system="rht-trio", position="BG3")
    assert not Part.objects.filter(number="TW-ZZZ-9").exists()
    assert TrailEntry.objects.filter(kind="part.added").count() == 3


def test_a_number_is_taken_once_whatever_its_case(part: Part, parts_user: User) -> None:
    with pytest.raises(Conflict, match="in the catalogue already"):
        services.part_add(by=parts_user, number=HEADER_SWITCH.lower(), name="Again")


def test_a_part_has_one_successor_and_nothing_is_half_written(part: Part, parts_user: User) -> None:
    new = services.part_add(by=parts_user, number="TW-BGA-3015", name="Header latch switch", supersedes=part)
    part.refresh_from_db()
    assert part.superseded_by == new
    with pytest.raises(Conflict, match="successor already"):
        services.part_add(by=parts_user, number="TW-BGA-3016", name="Header latch switch", supersedes=part)
    assert not Part.objects.filter(number="TW-BGA-3016").exists()


@pytest.mark.parametrize(
    ("system_slug", "position", "words"),
    [("rht-trio", "BG77", "no position BG77"), ("nowhere", "BG1", "No top system nowhere")],
)
def test_a_part_fits_declared_positions_only(
    part: Part, parts_user: User, system_slug: str, position: str, words: str
) -> None:
    with pytest.raises(ShopError, match=words):
        services.fit_add(by=parts_user, part=part, system=system_slug, position=position)


def test_a_fit_is_noted_once(part: Part, parts_user: User) -> None:
    with pytest.raises(Conflict, match="noted already"):
        services.fit_add(by=parts_user, part=part, system="rht-trio", position="BG1")
    assert part.fits.count() == 2


class TestPages:
    def test_everybody_who_works_here_sees_the_shelf(self, part: Part, client_as: Callable[[str], Client]) -> None:
        url = reverse("parts:shelf")
        for role in ("technician", "counter", "parts", "owner"):
            page = client_as(role).get(url)
            assert HEADER_SWITCH in page.text
            assert ("Add a part" in page.text) == (role in ("parts", "owner"))
        assert client_as("nobody").get(url).status_code == 302

    def test_typing_gives_the_rows_alone(self, part: Part, client_as: Callable[[str], Client]) -> None:
        page = client_as("parts").get(reverse("parts:shelf"), {"q": "3014"}, headers={"HX-Request": "true"})
        assert HEADER_SWITCH in page.text
        assert "<html" not in page.text

    def test_what_was_typed_comes_back_with_the_reason(self, part: Part, client_as: Callable[[str], Client]) -> None:
        form = {"number": HEADER_SWITCH, "name": "Twice the same"}
        page = client_as("parts").post(reverse("parts:part-add"), form)
        assert page.status_code == 409
        assert "in the catalogue already" in page.text
        assert "Twice the same" in page.text

    def test_a_new_part_and_where_it_fits(self, part: Part, client_as: Callable[[str], Client]) -> None:
        client = client_as("parts")
        form = {"number": "TW-BGA-3015", "name": "Header latch switch", "revision": "B", "supersedes": HEADER_SWITCH}
        assert client.post(reverse("parts:part-add"), form).status_code == 302
        fit = {"part": "TW-BGA-3015", "system": "rht-trio", "position": "BG1"}
        page = client.post(reverse("parts:fit-add"), fit, follow=True)
        assert "by TW-BGA-3015" in page.text
        refused = client_as("technician").post(reverse("parts:part-add"), form | {"number": "TW-NEW-1"})
        assert refused.status_code == 403

    def test_options_put_the_part_of_today_first(
        self, part: Part, parts_user: User, client_as: Callable[[str], Client]
    ) -> None:
        new = services.part_add(by=parts_user, number="TW-BGA-3099", name="Header latch switch", supersedes=part)
        services.fit_add(by=parts_user, part=new, system="rht-trio", position="BG1")
        url = reverse("parts:options")
        page = client_as("technician").get(url, {"system": "rht-trio", "position": "BG1"})
        numbers = [line.split('"')[1] for line in page.text.splitlines() if line.startswith("<option")]
        assert numbers == ["TW-BGA-3099", HEADER_SWITCH]
        empty = client_as("technician").get(url, {"system": "rht-trio", "position": "GP1"})
        assert 'value=""' in empty.text

    def test_an_empty_catalogue_says_how_to_begin(self, client_as: Callable[[str], Client]) -> None:
        assert "catalogue is empty" in client_as("owner").get(reverse("parts:shelf")).text
