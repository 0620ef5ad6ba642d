"""Every address of the base app, for every role: what it answers, and that it was asked on the server."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import get_resolver

from shop import services
from shop.errors import Refused
from shop.models import Car, Job, Role, TrailEntry, User
from shop.runs import run_queue

pytestmark = pytest.mark.django_db

ALL = frozenset(Role.values)
BOOKS = ALL - {Role.PARTS}
CUSTOMERS = frozenset({Role.COUNTER, Role.OWNER})

# address by name, method, what is sent, who gets through
TABLE: list[tuple[str, str, dict[str, Any], frozenset[str]]] = [
    ("floor", "get", {}, ALL),
    ("cars", "get", {}, ALL),
    ("car", "get", {}, ALL),
    ("car-new", "get", {}, BOOKS),
    ("car-new", "post", {"vin": "bad"}, BOOKS),
    ("car-edit", "get", {}, BOOKS),
    ("car-edit", "post", {"vin": "bad"}, BOOKS),
    ("odometer-add", "post", {"km": "5", "read_on": "2020-01-01"}, BOOKS),
    ("job-new", "get", {}, BOOKS),
    ("job-new", "post", {"title": "Look"}, BOOKS),
    ("customers", "get", {}, ALL),
    ("customer", "get", {}, ALL),
    ("customer-new", "get", {}, CUSTOMERS),
    ("customer-new", "post", {"name": "Ben"}, CUSTOMERS),
    ("customer-edit", "get", {}, CUSTOMERS),
    ("customer-edit", "post", {"name": "Ben"}, CUSTOMERS),
    ("job", "get", {}, ALL),
    ("job-stage", "post", {"stage": "mending"}, BOOKS),
    ("job-hold", "post", {"hold": "part"}, BOOKS),
    ("job-note", "post", {"words": "Hello"}, ALL),
    ("job-picture", "post", {}, ALL),
    ("picture", "get", {}, ALL),
    ("run", "get", {}, ALL),
    ("tour-dismiss", "post", {}, ALL),
    ("sign-out", "post", {}, ALL),
]


@pytest.fixture
def address(car: Car, job: Job, counter: User) -> Callable[[str], str]:
    run = run_queue(kind="certificate", title="Certificate", by=counter, job=job)
    patterns = {
        "car": f"/cars/{car.pk}/",
        "car-edit": f"/cars/{car.pk}/edit/",
        "car-new": "/cars/new/",
        "cars": "/cars/",
        "customer": f"/customers/{car.owner_id}/",
        "customer-edit": f"/customers/{car.owner_id}/edit/",
        "customer-new": "/customers/new/",
        "customers": "/customers/",
        "floor": "/",
        "job": f"/jobs/{job.pk}/",
        "job-hold": f"/jobs/{job.pk}/hold/",
        "job-new": f"/cars/{car.pk}/jobs/new/",
        "job-note": f"/jobs/{job.pk}/notes/",
        "job-picture": f"/jobs/{job.pk}/pictures/",
        "job-stage": f"/jobs/{job.pk}/stage/",
        "odometer-add": f"/cars/{car.pk}/odometer/",
        "picture": "/pictures/9999/",
        "run": f"/runs/{run.pk}/",
        "sign-out": "/sign-out/",
        "tour-dismiss": "/tour/dismiss/",
    }
    return patterns.__getitem__


def test_the_table_has_every_address() -> None:
    names = {name for name in _shop_names() if name != "sign-in"}
    assert names == {name for name, *_rest in TABLE}


def _shop_names() -> set[str]:
    _prefix, resolver = get_resolver().namespace_dict["shop"]
    return {name for name in resolver.reverse_dict if isinstance(name, str)}


@pytest.mark.parametrize("role", [*Role.values, "nobody"])
@pytest.mark.parametrize(("name", "method", "data", "who"), TABLE, ids=[f"{row[1]} {row[0]}" for row in TABLE])
def test_who_gets_through(
    client_as: Callable[[str], Client],
    address: Callable[[str], str],
    role: str,
    name: str,
    method: str,
    data: dict[str, Any],
    who: frozenset[str],
) -> None:
    trail = TrailEntry.objects.count()
    answer = getattr(client_as(role), method)(address(name), data)
    if role == "nobody":
        assert answer.status_code == 302
        assert name == "sign-out" or answer["Location"].startswith("/sign-in/?next=")
    elif role in who:
        assert answer.status_code in (200, 302, 422) or (name, answer.status_code) == ("picture", 404)
    else:
        assert answer.status_code == 403
        assert "Your role does not allow this. Ask the owner of the shop." in answer.content.decode()
    if role not in who:
        assert TrailEntry.objects.count() == trail


@pytest.mark.parametrize("name", ["job-stage", "job-hold", "job-note", "job-picture", "tour-dismiss", "sign-out"])
def test_a_link_cannot_write(client_as: Callable[[str], Client], address: Callable[[str], str], name: str) -> None:
    assert client_as("owner").get(address(name)).status_code == 405


def test_pages_offer_only_what_the_server_accepts(client_as: Callable[[str], Client], job: Job) -> None:
    page = client_as("parts").get(job.get_absolute_url()).content.decode()
    assert "/stage/" not in page
    assert "/notes/" in page
    page = client_as("technician").get(job.get_absolute_url()).content.decode()
    assert "/stage/" in page


def test_somebody_who_left_the_shop_may_nothing(tech: User, job: Job) -> None:
    tech.is_active = False
    tech.save()
    with pytest.raises(Refused):
        services.note_add(job=job, by=tech, words="x")
