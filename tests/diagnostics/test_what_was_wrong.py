"""What was wrong where somebody worked: said by a person, else by the checks, kept, and told."""

from collections.abc import Callable

import pytest
from django.test import Client

from diagnostics import services
from diagnostics.models import BenchSheet, Work
from shop.errors import ShopError
from shop.models import Job, TrailEntry, User
from tests.diagnostics.bench import add

PART = "TW-BGF-3503"


def replace(job: Job, by: User, position: str = "BG11", part: str = PART, **more: str) -> Work:
    return services.work_add(job=job, by=by, position=position, kind="replace", part=part, **more)


def test_what_a_person_says_is_kept_and_told(sheet: BenchSheet, job: Job, tech: User) -> None:
    assert replace(job, tech, mode="high-resistance").mode == "high-resistance"
    assert TrailEntry.objects.filter(
        kind="work.added", words__contains="what was wrong: has a high contact resistance"
    ).exists()
    assert services.work_add(job=job, by=tech, position="GB1", kind="charge", mode="precaution").mode == "precaution"
    assert TrailEntry.objects.filter(kind="work.added", words__endswith="as a precaution").exists()


@pytest.mark.parametrize("mode", ["leaks", "nonsense", "open"])
def test_what_this_work_cannot_have_cured_is_refused_in_words(
    sheet: BenchSheet, job: Job, tech: User, mode: str
) -> None:
    with pytest.raises(ShopError, match="never makes") as error:
        replace(job, tech, mode=mode)
    assert "or a precaution" in error.value.words
    assert not Work.objects.exists()


def test_where_nobody_says_it_work_with_one_meaning_says_it_itself(sheet: BenchSheet, job: Job, tech: User) -> None:
    adjusted = services.work_add(job=job, by=tech, position="BG11", kind="adjust")
    assert adjusted.mode == "out-of-adjustment"
    assert services.work_add(job=job, by=tech, position="MB1", kind="trim").mode == "binds"


def test_else_the_last_look_says_it(sheet: BenchSheet, job: Job, tech: User) -> None:
    add(sheet, tech, check="look", position="MM3", found="binds")
    assert replace(job, tech, "MM3", "TW-MMB-5010").mode == "binds"


def test_else_the_likeliest_suspect_if_it_is_likely_enough(sheet: BenchSheet, job: Job, tech: User) -> None:
    for _time in range(2):
        add(sheet, tech, check="pin-by-hand", position="BG11", pressed_volts=0.1, released_volts=0.1)
    add(sheet, tech, check="continuity", position="BG11", ohms=0.5)
    add(sheet, tech, check="click", position="BG11", heard=False)
    assert replace(job, tech).mode == "stays-made"


def test_else_it_stays_unsaid(sheet: BenchSheet, job: Job, tech: User) -> None:
    assert replace(job, tech).mode == ""


def test_setting_and_bleeding_after_a_new_part_belong_to_its_fitting(sheet: BenchSheet, job: Job, tech: User) -> None:
    replace(job, tech, mode="never-makes")
    assert services.work_add(job=job, by=tech, position="BG11", kind="adjust").mode == "precaution"
    replace(job, tech, "MM3", "TW-MMB-5010", mode="leaks")
    assert services.work_add(job=job, by=tech, position="GP1", kind="refill").mode == "precaution"


def test_the_job_asks_in_plain_words_and_shows_the_answer(
    sheet: BenchSheet, job: Job, client_as: Callable[[str], Client]
) -> None:
    client = client_as("technician")
    panel = client.get(f"/jobs/{job.pk}/bench/panel/").content.decode()
    assert "What was wrong there?" in panel
    asked = client.get(f"/jobs/{job.pk}/what-was-wrong/", {"position": "MM3", "kind": "replace"}).content.decode()
    assert '<option value="">Not said</option>' in asked
    assert '<option value="leaks">leaks</option>' in asked
    assert "nothing, changed as a precaution" in asked
    assert "never makes" not in asked
    charge = client.get(f"/jobs/{job.pk}/what-was-wrong/", {"position": "GB1", "kind": "charge"}).content.decode()
    assert "As the checks say: is low" in charge
    fields = {"position": "BG11", "kind": "replace", "part": PART, "mode": "stays-made"}
    assert client.post(f"/jobs/{job.pk}/add-work/", fields).status_code == 302
    assert "(what was wrong: stays made)" in client.get(f"/jobs/{job.pk}/bench/panel/").content.decode()


def test_a_mode_that_does_not_fit_is_told_and_what_was_typed_stays(
    sheet: BenchSheet, job: Job, client_as: Callable[[str], Client]
) -> None:
    fields = {"position": "BG11", "kind": "adjust", "mode": "stays-made", "words": "cam set"}
    page = client_as("technician").post(f"/jobs/{job.pk}/add-work/", fields)
    assert page.status_code == 422
    assert "does not take away “stays made”" in page.content.decode()
    assert '<option value="stays-made" selected>' in page.content.decode()
    assert "cam set" in page.content.decode()


def test_an_unknown_place_gives_no_choices_and_no_error(
    sheet: BenchSheet, job: Job, client_as: Callable[[str], Client]
) -> None:
    page = client_as("technician").get(f"/jobs/{job.pk}/what-was-wrong/", {"position": "BG99", "kind": "x"})
    assert page.status_code == 200
    assert page.content.decode().count("<option") == 1
