"""What a job needs, on its page: asked for, handed out and brought back by taps, with and without JavaScript."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from diagnostics.models import Unit
from parts import services
from parts.models import Need, NeedSource, Part
from shop.models import Job, TaskPart, TrailEntry, User
from shop.services import job_move
from tests.diagnostics.bench import add, opened, publish, sound_volts, words
from tests.parts.shelving import CYLINDER, SWITCH, a_part, balance, put
from tests.shop.bays import a_task

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


def ask(client: Client, job: Job, htmx: bool = True, **fields: Any) -> Any:
    headers = {"HX-Request": "true"} if htmx else {}
    return client.post(reverse("parts:need-add", args=[job.pk]), fields, headers=headers)


def tap(client: Client, need: Need, act: str, **fields: Any) -> Any:
    return client.post(reverse("parts:need-act", args=[need.pk, act]), fields, headers={"HX-Request": "true"})


def seen(client: Client, job: Job, name: str = "job-needs") -> str:
    return words(client.get(reverse(f"parts:{name}", args=[job.pk]), headers={"HX-Request": "true"}))


def test_the_job_page_loads_what_the_job_needs(client_as: As, job: Job) -> None:
    assert f'hx-get="/jobs/{job.pk}/needs/"' in words(client_as("technician").get(job.get_absolute_url()))


def test_a_part_is_asked_for_and_its_state_is_in_words(client_as: As, seal: Part, job: Job, parts_user: User) -> None:
    put(seal, parts_user, 1)
    page = words(ask(client_as("technician"), job, part=seal.number, quantity="3", why="leaks at the front"))
    assert "TW-SEA-0001 is asked for; 2 are missing." in page
    assert "1 reserved" in page
    assert "2 missing, not ordered yet" in page
    assert "leaks at the front" in page
    assert "The car waits for a part. TW-SEA-0001: not ordered yet" in page


def test_without_javascript_the_answer_is_the_job_again(client_as: As, seal: Part, job: Job) -> None:
    client = client_as("counter")
    answer = ask(client, job, htmx=False, part=seal.number, quantity="1")
    assert (answer.status_code, answer["Location"]) == (302, job.get_absolute_url())
    assert "TW-SEA-0001 is asked for; 1 are missing." in words(client.get(job.get_absolute_url()))


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"part": "TW-ZZZ-9999", "quantity": "1"}, "Part number: No part has this number."),
        ({"part": "TW-SEA-0001", "quantity": "-2"}, "-2 × TW-SEA-0001 for one job: expected 1 to 99."),
        ({"part": "TW-SEA-0001", "quantity": "x"}, "Pieces: Enter a whole number."),
        ({"part": "TW-SEA-0001", "quantity": "1", "position": "BG99"}, "has no position BG99"),
        ({"from": "plan:99"}, "The work plan waits for no such part any more."),
        ({"from": "suspect:BG3"}, "The bench no longer suspects BG3."),
        ({"part": "TW-SEA-0001", "quantity": "1", "act": "issue"}, "TW-SEA-0001: 1 asked for, 0 on the shelf."),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence_with_what_was_typed(
    client_as: As, seal: Part, job: Job, owner: User, fields: dict[str, str], says: str
) -> None:
    publish(owner)
    answer = ask(client_as("technician"), job, **fields)
    assert answer.status_code in (409, 422)
    assert says in words(answer)
    assert f'value="{fields.get("part", "")}"' in words(answer) or "from" in fields
    assert not Need.objects.exists()


def test_dropped_by_one_tap_and_needed_after_all_by_the_next(
    client_as: As, seal: Part, job: Job, parts_user: User, tech: User
) -> None:
    put(seal, parts_user, 1)
    need, client = services.need_add(job=job, part=seal, by=tech), client_as("technician")
    page = words(tap(client, need, "drop"))
    assert "TW-SEA-0001 is not needed." in page
    assert "Needed after all" in page
    assert balance(seal) == (1, 0, 0)
    assert "TW-SEA-0001 is needed after all." in words(tap(client, need, "again"))
    assert (balance(seal), Need.objects.filter(state="open").count()) == ((1, 1, 0), 1)
    assert "Asked for, and not needed" not in seen(client, job), "what is asked for again is not offered twice"


def test_handed_out_and_brought_back(client_as: As, seal: Part, job: Job, parts_user: User, tech: User) -> None:
    put(seal, parts_user, 3)
    need, client = services.need_add(job=job, part=seal, by=tech, quantity=2), client_as("technician")
    assert "handed out" in words(tap(client, need, "issue", quantity="2"))
    assert balance(seal) == (1, 0, 0)
    assert "TW-SEA-0001 is back on the shelf." in words(tap(client, need, "return", quantity="1"))
    answer = tap(client, need, "return", quantity="2")
    assert (answer.status_code, balance(seal)) == (409, (2, 0, 0))
    assert f"{job.number} has 1 × TW-SEA-0001 from the shelf; 2 cannot come back." in words(answer)


def test_handed_out_at_once_without_asking_first(client_as: As, seal: Part, job: Job, parts_user: User) -> None:
    put(seal, parts_user, 3)
    ask(client_as("technician"), job, part=seal.number, quantity="2", act="issue", why="roof seal")
    assert (balance(seal), Need.objects.exists()) == ((1, 0, 0), False)


def test_the_number_is_changed_and_what_is_free_reserved(
    client_as: As, seal: Part, job: Job, parts_user: User, tech: User
) -> None:
    put(seal, parts_user, 3)
    need, client = services.need_add(job=job, part=seal, by=tech), client_as("parts")
    tap(client, need, "change", quantity="2")
    need.refresh_from_db()
    assert (need.quantity, need.held) == (2, 2)
    assert "All of TW-SEA-0001 is reserved." in words(tap(client, need, "reserve"))
    assert tap(client, need, "melt").status_code == 404


def test_the_counter_asks_but_hands_nothing_out(
    client_as: As, seal: Part, job: Job, parts_user: User, tech: User
) -> None:
    put(seal, parts_user, 2)
    need, client = services.need_add(job=job, part=seal, by=tech), client_as("counter")
    assert tap(client, need, "issue", quantity="1").status_code == 403
    assert ask(client, job, part=seal.number, quantity="1", act="issue").status_code == 403
    page = seen(client, job)
    assert "Hand out" not in page
    assert "Hand it out now" not in page
    assert "Keep this number" in page


def test_a_finished_job_is_only_read(client_as: As, seal: Part, job: Job, parts_user: User, tech: User) -> None:
    put(seal, parts_user, 2)
    services.need_add(job=job, part=seal, by=tech)
    services.part_issue(part=seal, job=job, by=tech)
    job_move(job=job, by=tech, stage="done")
    page = seen(client_as("technician"), job)
    assert "handed out" in page
    assert "Ask for a part" not in page
    assert "Bring back" in page, "unused pieces still come back"


def test_a_part_of_the_work_plan_is_asked_for_by_one_tap(client_as: As, seal: Part, job: Job, tech: User) -> None:
    client, task = client_as("technician"), a_task(job)
    for typed in (
        {"name": "Seal of the lid", "part": seal.number, "quantity": "2"},
        {"name": "Paint", "quantity": "1"},
    ):
        client.post(reverse("shop:task-act", args=[task.pk, "part"]), typed)
    row = TaskPart.objects.get(part=seal.number)
    page = seen(client, job)
    assert "From the work plan" in page
    assert "2 × Seal of the lid" in page
    assert "Paint" not in page, "it has no number"
    page = words(ask(client, job, **{"from": f"plan:{row.pk}"}))
    need = Need.objects.get()
    assert (need.quantity, need.source, need.task_part) == (2, NeedSource.PLAN, row)
    assert "From the work plan</h3>" not in page


def test_a_suspected_part_is_asked_for_with_its_chance(
    client_as: As, job: Job, tech: User, owner: User, parts_user: User
) -> None:
    publish(owner)
    sheet = opened(job, tech)
    add(sheet, tech, check="pin", position="BG3", volts=12.6 - sound_volts(sheet, "BG3"))
    add(sheet, tech, check="click", position="BG3", heard=False)
    old, new = a_part(parts_user, SWITCH), a_part(parts_user, "TW-BGB-3122")
    client = client_as("technician")
    page = seen(client, job, "job-needs-likely")
    assert f"Ask for {SWITCH} at BG3" in page
    services.part_supersede(old=old, new=new, by=parts_user)
    assert "Ask for TW-BGB-3122 at BG3" in seen(client, job, "job-needs-likely")
    ask(client, job, **{"from": "suspect:BG3"})
    need = Need.objects.get()
    assert (need.part, need.position, need.source) == (new, "BG3", NeedSource.SUSPECT)
    assert 0.05 < need.chance <= 1
    assert "at BG3" not in seen(client, job, "job-needs-likely"), "it is asked for"


def test_the_form_of_work_says_where_the_part_came_from(client_as: As, job: Job, owner: User, parts_user: User) -> None:
    publish(owner)
    cylinder = a_part(parts_user, CYLINDER, rebuildable=True)
    put(cylinder, parts_user, 1)
    client, address = client_as("technician"), reverse("diagnostics:work-add", args=[job.pk])
    fields = {"position": "MM1", "kind": "replace", "part": CYLINDER, "core_kept": "on"}
    assert client.post(address, fields).status_code == 302
    assert balance(cylinder) == (0, 0, 1)
    again = {"position": "MM2", "kind": "replace", "part": CYLINDER}
    answer = client.post(address, again)
    assert answer.status_code == 409
    assert "If it came from elsewhere, say from where" in words(answer)
    assert client.post(address, again | {"elsewhere": "the customer’s own"}).status_code == 302
    assert Unit.objects.filter(position="MM2", removed_on=None).exists()
    assert TrailEntry.objects.filter(kind="shelf.elsewhere", words__endswith="the customer’s own").exists()


def test_the_form_of_work_names_a_batch(client_as: As, job: Job, owner: User, parts_user: User) -> None:
    publish(owner)
    switch = a_part(parts_user, SWITCH, tracking="batch")
    for number in ("B-1", "B-2"):
        put(switch, parts_user, 1, number)
    fields = {"position": "BG3", "kind": "replace", "part": SWITCH, "lot": "B-2"}
    client_as("technician").post(reverse("diagnostics:work-add", args=[job.pk]), fields)
    assert switch.movements.get(kind="issued").lot == switch.lots.get(number="B-2")


def test_the_panel_asks_no_more_for_many_parts_than_for_one(
    client_as: As, job: Job, parts_user: User, tech: User, django_assert_max_num_queries: Any
) -> None:
    for n in range(12):
        services.need_add(job=job, part=a_part(parts_user, f"TW-SEA-1{n:03}"), by=tech)
    client = client_as("owner")
    seen(client, job)
    with django_assert_max_num_queries(11):
        seen(client, job)
