"""Learning what has changed gives, to the last digit, what learning everything gives. With the real learner, on a fleet
in which one production range stands out."""

import datetime as dt
from typing import Any

import pytest

from diagnostics.models import BenchSheet, FailureModel, Learning, ProductionRange, Sighting
from diagnostics.selectors import computed
from diagnostics.services.learned import models_stale
from diagnostics.services.learning import learning_run
from shop.models import User
from shop.services import car_update
from tests.diagnostics.fleet import HEADER, LID, a_sighting

pytestmark = pytest.mark.django_db


def _documents() -> dict[str, Any]:
    return {str(row): (row.document, row.fingerprint) for row in FailureModel.objects.all()}


def _ranges() -> list[tuple[Any, ...]]:
    return list(ProductionRange.objects.order_by("pk").values_list("part", "first", "last", "state", "document"))


@pytest.mark.parametrize("agreed", [True, False], ids=["alone", "with-all"])
def test_what_changed_and_everything_give_the_same(
    fleet: list[BenchSheet], agreed: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = learning_run()
    assert first is not None
    assert ProductionRange.objects.filter(part=HEADER[1], mode="stays-made", state="proposed").exists()
    for sheet in fleet[:4]:
        Sighting.objects.filter(sheet=sheet, part=LID[1]).delete()
        a_sighting(sheet, LID[1], "BG5", dt.date(2021, 6, 1), "stays-made").save()
    models_stale([LID])
    if not agreed:  # as where the change turns about elsewhere which ranges count
        monkeypatch.setattr(computed, "_agree", lambda _models: False)
    second = learning_run(whole=False)
    assert second is not None
    assert (second.whole, FailureModel.objects.filter(learning=first, part=HEADER[1]).exists()) == (False, True)
    partly, found = _documents(), _ranges()
    assert learning_run() is None  # everything learned anew is what stands
    FailureModel.objects.all().delete()
    ProductionRange.objects.all().delete()
    Learning.objects.all().delete()
    anew = learning_run()
    assert anew is not None
    assert anew.fingerprint == second.fingerprint
    assert _documents() == partly
    assert _ranges() == found


def test_the_order_in_which_sightings_came_does_not_matter(fleet: list[BenchSheet]) -> None:
    learning_run()
    before = _documents()
    rows = list(Sighting.objects.order_by("-pk"))
    Sighting.objects.all().delete()
    for row in rows:
        row.pk = None
    Sighting.objects.bulk_create(rows)
    assert learning_run() is None
    assert _documents() == before


def test_a_cars_month_put_right_is_followed_by_what_was_learned_with_it(fleet: list[BenchSheet], owner: User) -> None:
    learning_run()
    car = fleet[7].car
    names = ("vin", "maker", "model", "plate", "climate", "system", "owner", "year_only", "known_from")
    facts = {name: getattr(car, name) for name in names}
    car_update(car=car, by=owner, made_on=dt.date(2013, 5, 1), **facts)
    second = learning_run(whole=False)
    assert second is not None
    assert not second.whole
    partly = _documents()
    assert FailureModel.objects.filter(learning=second).values("part").distinct().count() == 2
    FailureModel.objects.all().delete()
    learning_run()
    assert _documents() == partly
    car_update(car=car, by=owner, made_on=car.made_on, **facts | {"plate": "TW 7"})
    assert not FailureModel.objects.filter(fingerprint__startswith="stale:").exists()


@pytest.mark.parametrize("whole", [True, False], ids=["all", "what-changed"])
def test_when_all_parts_are_done_the_waiting_person_is_told_what_still_goes_on(
    fleet: list[BenchSheet], whole: bool
) -> None:
    learning_run()
    models_stale([LID])
    heard: list[tuple[int, int, str]] = []
    learning_run(whole=whole, tell=lambda *told: heard.append(told))
    parts = 2 if whole else 1
    assert heard[-1] == (parts, parts, "Weighing all that was found together, and keeping it")
    assert [words.split()[0] for *_counts, words in heard[:-1]] == [HEADER[1], LID[1]][-parts:]
