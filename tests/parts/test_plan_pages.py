"""The shelf plan's page: what it says before there is a plan, its lines, and each decision with its way back."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from parts.models import Decision, OrderLine, Part, PlanLine, ShelfPolicy
from shop.models import TaskRun
from tests.parts.planned import a_plan, line_of, offered

pytestmark = pytest.mark.django_db


@pytest.fixture
def parts(client_as: Callable[[str], Client]) -> Client:
    return client_as("parts")


@pytest.fixture
def part() -> Part:
    return Part.objects.create(number="TW-BGA-1", name="Latch switch")


def page(client: Client) -> str:
    return client.get(reverse("parts:plan")).content.decode()


def test_before_the_first_plan_the_page_says_what_it_would_do(parts: Client) -> None:
    told = page(parts)
    assert "No plan was made yet" in told
    assert "Make the first plan" in told


def test_asking_for_a_plan_leads_to_its_run_and_asking_twice_to_the_same(parts: Client) -> None:
    first = parts.post(reverse("parts:plan-anew"))
    assert first["Location"] == parts.post(reverse("parts:plan-anew"))["Location"]
    assert TaskRun.objects.filter(kind="shelf-plan").count() == 1
    assert "Planning now" in page(parts)


def test_a_line_tells_its_why_and_what_two_doubts_would_change(parts: Client, part: Part) -> None:
    offered(part)
    line = line_of(a_plan((part, 4)), part)
    told = page(parts)
    assert "order 4" in told
    assert line.document["why"].split(":")[0] in told
    assert "If deliveries take twice as long" in told
    assert "Ostermark Parts, 30.00" in told


def test_a_line_is_accepted_and_opened_again(parts: Client, part: Part) -> None:
    offered(part)
    line = line_of(a_plan((part, 4)), part)
    answer = parts.post(reverse("parts:plan-decide", args=[line.pk]), {"quantity": 4}, follow=True)
    assert "4 × TW-BGA-1 is on the draft P" in answer.content.decode()
    assert OrderLine.objects.get().quantity == 4
    answer = parts.post(reverse("parts:plan-reopen", args=[line.pk]), follow=True)
    assert "TW-BGA-1 is open again" in answer.content.decode()
    assert not OrderLine.objects.exists()


@pytest.mark.parametrize(
    ("typed", "status", "words"),
    [
        ({"quantity": "7"}, 422, "say why 7 instead"),
        ({"quantity": "x", "why": "so"}, 422, "Expected a whole number from 0"),
        ({"quantity": "-1", "why": "so"}, 422, "Expected a whole number from 0"),
    ],
)
def test_what_cannot_be_is_said_beside_the_line_and_nothing_is_lost(
    parts: Client, part: Part, typed: dict[str, str], status: int, words: str
) -> None:
    offered(part)
    line = line_of(a_plan((part, 4)), part)
    answer = parts.post(reverse("parts:plan-decide", args=[line.pk]), typed)
    told = answer.content.decode()
    assert answer.status_code == status
    assert words in told
    assert f'value="{typed["quantity"]}"' in told
    assert PlanLine.objects.get(pk=line.pk).decision == Decision.OPEN


def test_the_policy_is_kept_in_per_cent_as_typed(parts: Client) -> None:
    typed = {"ready": "97.5", "holding": "25", "order_cost": "9", "budget": "", "review_days": "14"}
    assert parts.post(reverse("parts:plan-policy"), typed).status_code == 302
    policy = ShelfPolicy.objects.get()
    assert (policy.ready_rate, policy.holding_rate, policy.budget, policy.review_days) == (0.975, 0.25, None, 14)
    answer = parts.post(reverse("parts:plan-policy"), {**typed, "ready": "100"})
    assert answer.status_code == 422
    assert ShelfPolicy.objects.get().ready_rate == 0.975


def test_whoever_may_not_order_reads_the_plan_without_buttons(client_as: Callable[[str], Client], part: Part) -> None:
    offered(part)
    a_plan((part, 4))
    told = page(client_as("technician"))
    assert "order 4" in told
    assert "Accept all" not in told
    assert "Plan anew" not in told


def test_the_page_asks_little_however_many_lines_there_are(
    parts: Client, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    rows = [Part.objects.create(number=f"TW-{number}", name="Clip") for number in range(12)]
    a_plan(*((row, 1) for row in rows))
    with django_assert_max_num_queries(11):  # type: ignore[attr-defined]
        assert page(parts).count("order 1") >= 12
