"""The cast and the few things that every test may use."""

import datetime as dt
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.cache import cache, caches
from django.test import Client

from shop import services
from shop.models import Car, Job, Role, Stage, User

# Starts with 0, a region that ISO 3780 gives to nobody (from memory): no real car can have it. Its check digit agrees.
VIN = "0TWAH5903RT000001"
PASSWORD = "threads-and-canvas"


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes(specs: list[Any]) -> None:
    """Each process of a run over several cores has its own folder and its own queue (`pytest -n`).

    The settings read the environment when the process starts, before any fixture; the test database gets its own
    name by itself. Two processes on one queue would run each other's messages against the wrong database.
    """
    data, redis = os.environ.get("TOPWRIGHT_DATA", ".topwright"), os.environ.get("REDIS_URL", "")
    for number, spec in enumerate(specs):
        spec.env["TOPWRIGHT_DATA"] = str(Path(data).resolve() / f"core-{number}")
        if redis:
            server, _, database = redis.rpartition("/")
            spec.env["REDIS_URL"] = f"{server}/{int(database) + number}"


@pytest.fixture(autouse=True)
def _test_settings(settings: Any, tmp_path: Path) -> None:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.MEDIA_ROOT = tmp_path / "files"
    settings.SECOND_FACTOR = False  # the cast signs in by name and password; tests of the second factor turn it on
    caches["counts"].clear()  # who tried much in another test
    # Kept for minutes, and the rows of another test are no cars of this shop.
    cache.delete_many([f"own-trials:{slug}" for slug in ("rht-trio", "softbow-hydro", "softline-electro")])


def _user(username: str, role: Role) -> User:
    return User.objects.create_user(username, password=PASSWORD, role=role)


@pytest.fixture
def tech(db: None) -> User:
    return _user("tech", Role.TECHNICIAN)


@pytest.fixture
def counter(db: None) -> User:
    return _user("counter", Role.COUNTER)


@pytest.fixture
def parts_user(db: None) -> User:
    return _user("parts", Role.PARTS)


@pytest.fixture
def owner(db: None) -> User:
    return _user("owner", Role.OWNER)


@pytest.fixture
def car(counter: User) -> Car:
    customer = services.customer_create(by=counter, name="Ada Quill", phone="555 0100")
    return services.car_create(
        by=counter,
        vin=VIN,
        maker="Halden",
        model="Brise",
        made_on=dt.date(2014, 6, 1),
        plate="TW 14 K",
        system="rht-trio",
        owner=customer,
    )


@pytest.fixture
def job(car: Car, counter: User) -> Job:
    return services.job_open(
        car=car,
        by=counter,
        title="Closing stops half way",
        complaint="The lid goes up, then nothing.",
        stage=Stage.HERE,
    )


@pytest.fixture
def client_as(tech: User, counter: User, parts_user: User, owner: User) -> Callable[[str], Client]:
    """`client_as("technician")` is signed in; `client_as("nobody")` is not."""
    people = {user.role: user for user in (tech, counter, parts_user, owner)}

    def sign_in(role: str) -> Client:
        client = Client()
        if role != "nobody":
            client.force_login(people[role], backend="django.contrib.auth.backends.ModelBackend")
        return client

    return sign_in
