"""A part that replaces another in the catalogue: one successor, and no ring."""

import pytest
from django.db import IntegrityError, transaction

from parts import services
from parts.models import Part
from shop.errors import Conflict, Refused
from shop.models import TrailEntry, User
from tests.parts.shelving import a_part

pytestmark = pytest.mark.django_db


@pytest.fixture
def three(parts_user: User) -> tuple[Part, Part, Part]:
    """A is superseded by B, B by C."""
    a, b, c = (a_part(parts_user, f"TW-CHN-000{n}") for n in (1, 2, 3))
    services.part_supersede(old=a, new=b, by=parts_user)
    services.part_supersede(old=b, new=c, by=parts_user)
    return a, b, c


def test_a_ring_is_refused_with_all_its_links_named(three: tuple[Part, Part, Part], parts_user: User) -> None:
    a, b, c = three
    with pytest.raises(Conflict, match=r"^TW-CHN-0003 → TW-CHN-0001 → TW-CHN-0002 → TW-CHN-0003: a part cannot be"):
        services.part_supersede(old=c, new=a, by=parts_user)
    with pytest.raises(Conflict, match=r"^TW-CHN-0003 → TW-CHN-0002 → TW-CHN-0003: a part cannot be"):
        services.part_supersede(old=c, new=b, by=parts_user)
    c.refresh_from_db()
    assert c.superseded_by is None


def test_a_part_does_not_supersede_itself(three: tuple[Part, Part, Part], parts_user: User) -> None:
    with pytest.raises(Conflict, match="TW-CHN-0003 → TW-CHN-0003"):
        services.part_supersede(old=three[2], new=three[2], by=parts_user)
    with pytest.raises(IntegrityError, match="part_not_superseded_by_itself"), transaction.atomic():
        Part.objects.filter(pk=three[2].pk).update(superseded_by=three[2])


def test_what_a_page_read_before_somebody_else_changed_it_closes_no_ring(parts_user: User) -> None:
    a, b = a_part(parts_user, "TW-CHN-0001"), a_part(parts_user, "TW-CHN-0002")
    stale = Part.objects.get(pk=a.pk)
    services.part_supersede(old=a, new=b, by=parts_user)
    with pytest.raises(Conflict, match="TW-CHN-0002 → TW-CHN-0001 → TW-CHN-0002"):
        services.part_supersede(old=b, new=stale, by=parts_user)


def test_it_can_be_taken_back(three: tuple[Part, Part, Part], parts_user: User) -> None:
    b = three[1]
    services.part_supersede(old=b, new=None, by=parts_user)
    b.refresh_from_db()
    assert b.superseded_by is None
    assert TrailEntry.objects.latest("pk").words == "TW-CHN-0002 is superseded by nothing."


def test_a_part_has_one_successor(three: tuple[Part, Part, Part], parts_user: User) -> None:
    with pytest.raises(Conflict, match="TW-CHN-0001 has a successor already"):
        services.part_add(by=parts_user, number="TW-NEW-0001", name="New", supersedes=three[0])
    assert not Part.objects.filter(number="TW-NEW-0001").exists()


def test_who_keeps_no_catalogue_supersedes_nothing(three: tuple[Part, Part, Part], tech: User) -> None:
    with pytest.raises(Refused):
        services.part_supersede(old=three[2], new=None, by=tech)


def test_a_barcode_names_one_part(three: tuple[Part, Part, Part], parts_user: User) -> None:
    services.barcode_add(part=three[0], by=parts_user, barcode=" 40123455 ")
    with pytest.raises(Conflict, match="40123455 names TW-CHN-0001 already"):
        services.barcode_add(part=three[1], by=parts_user, barcode="40123455")
