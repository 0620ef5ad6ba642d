"""The shelf plan in the shop: what it is made from, kept once, decided line by line, and undone."""

import datetime as dt
import json
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import call_command
from django.utils import timezone

from diagnostics.models import Unit
from parts.models import Decision, Movement, OrderLine, Part, PlanLine, ShelfPlan, ShelfPolicy, Stock
from parts.services import goods_in, need_add, order_send, part_supersede
from parts.services.plan import (
    computed,
    line_decide,
    line_reopen,
    plan_accept,
    plan_keep,
    plan_run,
    policy_now,
    policy_set,
)
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, TrailEntry, User
from tests.parts.planned import DAY, a_plan, line_of, offered

pytestmark = pytest.mark.django_db


@pytest.fixture
def part() -> Part:
    return Part.objects.create(number="TW-BGA-1", name="Latch switch")


def fitted(car: Car, part: Part, *months_ago: int) -> None:
    """A unit of the part was fitted in each of these months before DAY, each of which took the last one off."""
    for ago in sorted(months_ago, reverse=True):
        month = DAY.year * 12 + DAY.month - 1 - ago
        day = dt.date(month // 12, month % 12 + 1, 10)
        Unit.objects.filter(car=car, position="BG1", removed_on=None).update(removed_on=day)
        Unit.objects.create(car=car, position="BG1", part=part.number, fitted_on=day)


def old_shop(job: Job) -> None:
    """Its first job was two years before DAY."""
    first = timezone.make_aware(dt.datetime.combine(DAY.replace(year=DAY.year - 2, day=10), dt.time(9)))
    Job.objects.filter(pk=job.pk).update(opened_at=first)


def the_line(part: Part, as_of: dt.date = DAY) -> dict:  # type: ignore[type-arg]
    _whole, lines = computed(as_of, 12)
    return next(line for line in lines if line["part"] == part.number)


def test_what_was_fitted_month_by_month_is_planned_for(part: Part, car: Car, job: Job) -> None:
    old_shop(job)
    fitted(car, part, *range(1, 25))
    line = the_line(part)
    assert line["sources"]["a_year"] == pytest.approx(12, rel=0.3)
    assert line["quantity"] >= line["reorder_point"] + 1 > 0
    assert line["method"] in ("sba", "tsb", "croston", "hurdle")
    assert line["compared"]["origins"] > 6
    assert "pieces are free or on their way" in line["why"]


def test_what_lies_there_is_on_its_way_or_is_promised_counts(
    part: Part, car: Car, job: Job, parts_user: User, tech: User
) -> None:
    old_shop(job)
    fitted(car, part, *range(1, 25))
    bare = the_line(part)
    assert (bare["reorder_point"], bare["quantity"]) == (0, bare["up_to"])
    goods_in(part=part, by=parts_user, quantity=1)
    assert the_line(part)["quantity"] == 0
    need_add(job=job, part=part, by=tech, quantity=2)
    line = the_line(part)
    assert line["stock"] == {"on_hand": 1, "on_order": 0, "promised": 2}
    assert line["quantity"] == bare["quantity"] + 1


def test_usable_old_stock_of_a_superseded_part_serves_the_new_one(
    part: Part, car: Car, job: Job, parts_user: User
) -> None:
    old_shop(job)
    fitted(car, part, *range(1, 25))
    goods_in(part=part, by=parts_user, quantity=3)
    new = Part.objects.create(number="TW-BGA-2", name="Latch switch")
    part_supersede(old=part, new=new, by=parts_user)
    line = the_line(new)
    assert (line["supersedes"], line["stock"]["on_hand"]) == (["TW-BGA-1"], 3)
    assert line["sources"]["a_year"] == pytest.approx(12, rel=0.3)
    Part.objects.filter(pk=part.pk).update(old_usable=False)
    assert the_line(new)["stock"]["on_hand"] == 0


def test_a_plan_is_kept_once_and_its_page_and_command_tell_the_same(part: Part, car: Car, job: Job) -> None:
    old_shop(job)
    fitted(car, part, *range(1, 25))
    offered(part)
    plan = plan_run(as_of=DAY)
    assert plan_run(as_of=DAY).pk == plan.pk
    out = StringIO()
    call_command("plan_shelf", "--as-of", DAY.isoformat(), "--json", stdout=out)
    told = json.loads(out.getvalue())
    (line,) = told["lines"]
    kept = line_of(plan, part)
    assert kept.document == line
    assert (kept.suggested, kept.reorder_point, kept.up_to) == (line["quantity"], line["reorder_point"], line["up_to"])
    assert told["cost"] == plan.document["cost"] == str(Decimal("30.00") * line["quantity"])


@pytest.mark.parametrize("arguments", [["--as-of", "1 June"], ["--months", "0"], ["--months", "25"]])
def test_the_command_refuses_in_one_line(db: None, arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        call_command("plan_shelf", *arguments)
    assert caught.value.code == 2
    assert "expected" in capsys.readouterr().err


def test_accepting_a_line_puts_it_on_the_supplier_s_draft(part: Part, parts_user: User) -> None:
    offered(part)
    line = line_decide(line=line_of(a_plan((part, 4)), part), by=parts_user, quantity=4)
    ordered = OrderLine.objects.get()
    assert (line.decision, line.order_line, ordered.quantity, ordered.price) == (
        Decision.ACCEPTED, ordered, 4, Decimal("30.00"),
    )  # fmt: skip
    assert ordered.order.supplier.name == "Ostermark Parts"
    assert TrailEntry.objects.filter(kind="plan.decided", by=parts_user).exists()


def test_another_number_needs_a_reason_and_keeps_it(part: Part, parts_user: User) -> None:
    offered(part)
    line = line_of(a_plan((part, 4)), part)
    with pytest.raises(ShopError, match="say why 6 instead"):
        line_decide(line=line, by=parts_user, quantity=6)
    assert not OrderLine.objects.exists()
    line = line_decide(line=line, by=parts_user, quantity=6, why="two cars are announced")
    assert (line.decision, line.why, OrderLine.objects.get().quantity) == (
        Decision.CHANGED, "two cars are announced", 6,
    )  # fmt: skip


def test_leaving_a_line_out_orders_nothing(part: Part, parts_user: User) -> None:
    line = line_decide(line=line_of(a_plan((part, 4)), part), by=parts_user, quantity=0, why="system is dying out")
    assert (line.decision, OrderLine.objects.count()) == (Decision.LEFT, 0)


def test_a_decision_is_undone_while_the_order_is_a_draft(part: Part, parts_user: User) -> None:
    offered(part)
    line = line_decide(line=line_of(a_plan((part, 4)), part), by=parts_user, quantity=4)
    line = line_reopen(line=line, by=parts_user)
    assert (line.decision, line.quantity, OrderLine.objects.count()) == (Decision.OPEN, None, 0)
    line = line_decide(line=line, by=parts_user, quantity=4)
    order_send(order=OrderLine.objects.get().order, by=parts_user)
    with pytest.raises(Conflict, match="has gone out"):
        line_reopen(line=line, by=parts_user)
    assert PlanLine.objects.get(pk=line.pk).decision == Decision.ACCEPTED


def test_accepting_all_leaves_what_nobody_delivers(part: Part, parts_user: User) -> None:
    offered(part)
    alone = Part.objects.create(number="TW-GPA-1", name="Pump")
    plan = a_plan((part, 4), (alone, 1))
    assert plan_accept(plan=plan, by=parts_user) == 1
    assert line_of(plan, alone).decision == Decision.OPEN
    with pytest.raises(ShopError, match="Nobody delivers TW-GPA-1 yet"):
        line_decide(line=line_of(plan, alone), by=parts_user, quantity=1)


def test_an_old_plan_and_a_decided_line_are_not_decided_again(part: Part, parts_user: User) -> None:
    offered(part)
    old = line_of(a_plan((part, 4)), part)
    new = line_of(a_plan((part, 5)), part)
    with pytest.raises(Conflict, match="not the newest"):
        line_decide(line=old, by=parts_user, quantity=4)
    line_decide(line=new, by=parts_user, quantity=5)
    with pytest.raises(Conflict, match="decided already"):
        line_decide(line=new, by=parts_user, quantity=5)
    assert OrderLine.objects.get().quantity == 5


def test_only_parts_people_and_the_owner_decide(part: Part, tech: User) -> None:
    line = line_of(a_plan((part, 4)), part)
    with pytest.raises(Refused):
        line_decide(line=line, by=tech, quantity=4)
    with pytest.raises(Refused):
        policy_set(by=tech, policy=policy_now())


def test_the_policy_is_one_and_the_next_plan_goes_by_it(part: Part, car: Car, job: Job, parts_user: User) -> None:
    old_shop(job)
    fitted(car, part, *range(1, 25))
    offered(part)
    before = the_line(part)
    policy = policy_now()
    policy.budget = Decimal("60.00")
    policy_set(by=parts_user, policy=policy)
    policy_set(by=parts_user, policy=policy)
    assert ShelfPolicy.objects.count() == 1
    after = the_line(part)
    assert (after["wanted"], after["quantity"]) == (before["quantity"], 2)
    assert "the budget leaves 2" in after["why"]


def test_old_plans_go_but_for_those_that_somebody_decided_of(part: Part, parts_user: User) -> None:
    offered(part)
    decided = a_plan((part, 1))
    line_decide(line=line_of(decided, part), by=parts_user, quantity=1)
    whole, lines = computed(DAY, 12)
    for number in range(35):
        plan_keep(as_of=DAY, months=12, whole={**whole, "number": number}, lines=lines, by=None)
    assert ShelfPlan.objects.count() == 31
    assert ShelfPlan.objects.filter(pk=decided.pk).exists()
    assert not Movement.objects.exists()
    assert not Stock.objects.filter(shelf__gt=0).exists()
